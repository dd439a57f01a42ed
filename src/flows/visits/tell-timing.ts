import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import { whyKept } from '../../domain/visits/move-limit.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import { judgeDate, type VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import { needsCall } from '../../domain/preparation/cycle/move-rule.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Question } from '../../domain/replies/reading.ts'
import { dateIn } from '../../domain/local-time.ts'
import { closeFollowUps, openFollowUp } from '../calls/follow-ups.ts'
import { protocolOf } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'

/** How a visit's date looks by itself, with no opening to compare it with. */
export function judgeTiming(
  deps: Deps,
  { booking, patient }: Pick<VisitContext, 'booking' | 'patient'>,
  cycle: CycleHistory = patient.cycle,
): VisitJudgement {
  const [visit, today] = [booking.visitAt, deps.clock.now()].map((at) => dateIn(at, booking.zone))
  return judgeDate(cycle, visit!, protocolOf(deps, booking.protocol), today)
}

/** Whether one of these messages asks about the period: the answer may still move the visit. */
export function asks(messages: readonly { kind: TextKind }[]): boolean {
  return messages.some(({ kind }) => ABOUT_THE_PERIOD.has(MESSAGE_KINDS[kind].asks))
}

const ABOUT_THE_PERIOD: ReadonlySet<Question | null> = new Set<Question | null>(['started', 'day'])

interface News {
  plan: PrepPlan
  /** What was known of the cycle until now: whoever was to be called then has been. */
  before: CycleHistory
  /** What the desk reads beside the call. */
  because?: Record<string, unknown>
}

/**
 * After news of the cycle: the desk is to call about a visit that was well timed by what was known and is no more, and
 * not any more about one whose time has become good. For visits that nobody is speaking of when the news comes.
 * @param about with the patient as known now
 */
export async function tellTiming(tx: Tx, deps: Deps, about: VisitContext, news: News): Promise<void> {
  const { booking } = about
  const judgement = judgeTiming(deps, about)
  if (!judgement.worthACall) return noLongerBad(tx, deps, booking.id)
  if (!needsCall(judgement, asks(news.plan.messages))) return
  if (judgeTiming(deps, about, news.before).worthACall || (await tx.offers.pending(booking.id))) return
  await callAboutTime(tx, deps, about, judgement, news.because)
}

/**
 * The desk is to call about the time of a visit, unless that is over. What may not be put off stays: then the clinician
 * is told.
 */
export async function callAboutTime(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  { reason: why }: VisitJudgement,
  because: Record<string, unknown> = {},
): Promise<void> {
  const { visitAt, outcome } = about.booking
  if (outcome !== null || visitAt <= deps.clock.now()) return
  const reason = whyKept(about.booking) === null ? 'badly-timed' : 'not-to-be-put-off'
  const isOther = (each: FollowUp) => ABOUT_TIME.has(each.reason) && each.reason !== reason
  await closeFollowUps(tx, deps, about.booking.id, isOther, 'the purpose was corrected')
  await openFollowUp(tx, deps, about, reason, { ...because, why })
}

const ABOUT_TIME: ReadonlySet<FollowUpReason> = new Set<FollowUpReason>(['badly-timed', 'not-to-be-put-off'])

/** Nobody need call about the time of a visit that is good by now. */
export function noLongerBad(tx: Tx, deps: Deps, bookingId: string): Promise<void> {
  return closeFollowUps(tx, deps, bookingId, ({ reason }) => ABOUT_TIME.has(reason), 'the dates are good')
}
