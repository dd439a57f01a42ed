import { isEligibilityOpen } from '../../domain/preparation/cycle/no-cycle.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { closeFollowUps, openFollowUp } from './follow-ups.ts'

/** More calls than one visit ever has. */
const MOST_CALLS = 100
/** Who closes what has become pointless. */
const OURSELVES = 'daysix'

/**
 * Asks a clinician whether a specimen is wanted at all, once for each visit; the question ends when what is known of
 * the patient raises it no more. What a person has answered is not asked again.
 */
export async function followEligibility(tx: Tx, deps: Deps, about: VisitContext): Promise<void> {
  const { booking, patient } = about
  if (!isEligibilityOpen(patient.cycle)) {
    const isAsked = ({ reason }: { reason: string }) => reason === 'eligibility'
    return closeFollowUps(tx, deps, booking.id, isAsked, 'the record says otherwise now', OURSELVES)
  }
  if (booking.state !== 'booked' || booking.visitAt <= deps.clock.now()) return
  const calls = await tx.followUps.list({ bookingId: booking.id, limit: MOST_CALLS })
  const stands = calls.some(({ reason, closedBy }) => reason === 'eligibility' && closedBy !== OURSELVES)
  if (!stands) await openFollowUp(tx, deps, about, 'eligibility')
}
