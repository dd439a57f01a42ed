import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import { judgeBooking } from './judge-booking.ts'

/**
 * Has the desk call about a visit that was well timed by what was known, and by the news of the
 * patient's cycle is not any more. For visits that nobody is speaking of when the news comes.
 * @param about with the patient as known now
 * @param before what was known of the cycle until now
 */
export async function callIfSpoilt(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  before: CycleHistory,
): Promise<void> {
  const judgement = judgeBooking(deps, about.booking, about.patient.cycle)
  if (judgement.keep || !judgeBooking(deps, about.booking, before).keep) return
  await openFollowUp(tx, deps, about, 'badly-timed', { why: judgement.reason })
}
