import { Failure } from '../../domain/failure.ts'
import type { FollowUp } from '../../domain/calls/follow-up.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { closeFollowUps } from '../calls/follow-ups.ts'
import { loadVisit, orNotFound } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { noteEvent } from './note-event.ts'
import { IS_OVER } from './record-outcome.ts'

const MOST_CALLS = 200

/**
 * Takes back how a visit ended, where it was recorded by mistake: the calls that it ended are open again, the one that
 * it opened is closed, and what is still worth saying is planned anew.
 * @throws not-found; too-late where nothing is recorded any more
 */
export async function takeBackOutcome(deps: Deps, id: string, by: string): Promise<Booking> {
  const booking = await deps.store.transact(async (tx) => {
    const about = await loadVisit(tx, orNotFound(await tx.bookings.lock(id), 'booking'))
    const { outcome } = about.booking
    if (!outcome)
      throw new Failure('too-late', { message: 'How this visit ended is not recorded, or taken back already.' })
    const isAnother = ({ reason }: FollowUp) => reason === 'no-specimen'
    await closeFollowUps(tx, deps, id, isAnother, 'how the visit ended was taken back')
    await reopenEnded(tx, id, outcome.at)
    const { booking: open } = await makePlan(tx, deps, { ...about, booking: { ...about.booking, outcome: null } })
    await noteEvent(tx, deps, id, 'end-taken-back', by)
    return open
  })
  deps.notice('visit-ended', { booking: id })
  return booking
}

/** What the outcome closed, and nobody else. */
async function reopenEnded(tx: Tx, bookingId: string, since: Date): Promise<void> {
  const closed = await tx.followUps.list({ bookingId, open: false, limit: MOST_CALLS })
  const ended = closed.filter(({ closedBy, outcome }) => closedBy === 'daysix' && outcome === IS_OVER)
  for (const { id } of ended) await tx.followUps.reopen(id, since)
}
