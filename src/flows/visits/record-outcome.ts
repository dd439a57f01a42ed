import { Failure } from '../../domain/failure.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { outcomeFault, outcomeWords, OUTCOMES, type Outcome } from '../../domain/visits/outcome.ts'
import { openFollowUp, settleFollowUps } from '../calls/follow-ups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { loadVisit, orNotFound } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { datesForDesk, supersedeOffer } from './offer-openings.ts'
import { noteEvent } from './note-event.ts'

/** What is recorded of calls that an outcome ends. */
export const IS_OVER = 'the visit is over'

/**
 * Records how a visit ended; recorded again, the last word counts. Nothing more is sent or offered about it. Where
 * there is no specimen, the desk is to agree on another visit, so that nobody is lost.
 * @throws not-found, too-late (cancelled), bad-input (still to come; a reason that is missing, or does not belong)
 */
export async function recordOutcome(
  deps: Deps,
  id: string,
  said: Pick<Outcome, 'kind' | 'because' | 'by'>,
): Promise<Booking> {
  const booking = await deps.store.transact((tx) => recordOutcomeWithin(tx, deps, id, said))
  deps.notice('visit-ended', { booking: id })
  return booking
}

/** As `recordOutcome`, within a transaction. */
export async function recordOutcomeWithin(
  tx: Tx,
  deps: Deps,
  id: string,
  said: Pick<Outcome, 'kind' | 'because' | 'by'>,
): Promise<Booking> {
  const about = await loadVisit(tx, orNotFound(await tx.bookings.lock(id), 'booking'))
  const fault = outcomeFault(said, about.booking, deps.clock.now())
  if (fault !== null) throw new Failure(fault.code, { field: 'outcome', message: fault.message })
  const outcome: Outcome = { ...said, at: deps.clock.now() }
  const ended: Booking = { ...about.booking, outcome }
  await supersedeOffer(tx, deps, id)
  await makePlan(tx, deps, { ...about, booking: ended })
  await settleFollowUps(tx, deps, id, 'end-of-visit', IS_OVER)
  if (OUTCOMES[said.kind].needsAnother && !about.patient.reportedDead && !(await isAgreed(tx, id)))
    await openFollowUp(tx, deps, { ...about, booking: ended }, 'no-specimen', {
      why: outcomeWords(said),
      goodDates: datesForDesk(deps, about),
    })
  await noteEvent(tx, deps, id, 'ended', said.by, { outcome: said.kind })
  return ended
}

/** A person has called about it already. */
async function isAgreed(tx: Tx, bookingId: string): Promise<boolean> {
  const calls = await tx.followUps.list({ bookingId, open: false, limit: MOST_CALLS })
  return calls.some(({ reason, closedBy }) => reason === 'no-specimen' && closedBy !== 'daysix')
}

const MOST_CALLS = 200
