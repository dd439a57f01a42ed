import type { Slot } from '../../domain/visits/slot.ts'
import { dateIn } from '../../domain/local-time.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { needsCall } from '../../domain/preparation/cycle/move-rule.ts'
import { questionFor } from '../../domain/preparation/cycle/question.ts'
import type { Answer } from '../../domain/preparation/protocol.ts'
import { decideForVisit } from '../../domain/replies/decide-for-visit.ts'
import type { Effect } from '../../domain/replies/effects.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { whyKept } from '../../domain/visits/move-limit.ts'
import { isNear } from '../../domain/visits/near.ts'
import { protocolOf } from '../lookups.ts'
import type { Deps, Records } from '../ports/deps.ts'
import { isPregnant, type VisitContext } from '../visit-context.ts'
import { judgeAmong, openingsWithinReach } from '../visits/judge-booking.ts'
import { judgeTiming } from '../visits/tell-timing.ts'
import type { Conversation } from './conversation.ts'
import { lastNews } from './last-news.ts'

/** What follows from a reply about a visit. */
export async function decideReply(
  records: Records,
  deps: Deps,
  hearing: Conversation,
  visit: VisitContext,
  reading: Reading,
): Promise<Effect[]> {
  const { booking, patient, clinic } = visit
  const tellsOfPeriod = REPLY_MEANINGS[reading.meaning].bleeding !== null
  // Whatever is learned of the dates, any of these may then be the better time.
  const openings = tellsOfPeriod ? await openingsWithinReach(records, deps, visit, true) : []
  const { answers } = protocolOf(deps, booking.protocol)
  const offer = hearing.offers.find(({ bookingId }) => bookingId === booking.id)
  return decideForVisit({
    reading,
    history: patient.cycle,
    today: dateIn(hearing.reply.receivedAt, booking.zone),
    askedForDay: hearing.lastAsked === 'day',
    offerOpen: offer?.state === 'open',
    mustMove: offer?.reason === 'cannot-come',
    lapsePolicy: clinic.settings.lapsePolicy,
    topics: Object.keys(answers).filter((topic) => maySay(deps, answers[topic]?.[patient.language])),
    hasPlace: clinic.settings.address !== null,
    mayUndo: reading.meaning === 'undo' && (await lastNews(records, hearing, visit)) !== null,
    mayBePutOff: whyKept(booking) === null,
    isNear: isNear(booking, hearing.reply.receivedAt),
    isPregnant: isPregnant(visit),
    keeps: (history: CycleHistory) => mayStay(deps, visit, openings, history),
    isBadly: (history: CycleHistory) => judgeTiming(deps, visit, history).worthACall,
  })
}

/** Nothing better is free, and either the time is good enough or the patient can still be asked again. */
function mayStay(deps: Deps, visit: VisitContext, openings: readonly Slot[], history: CycleHistory): boolean {
  const { booking } = visit
  const { judgement } = judgeAmong(deps, visit, openings, {}, history)
  if (!judgement.keep || !judgement.worthACall || whyKept(booking) !== null) return judgement.keep
  const [date, asOf] = [booking.visitAt, deps.clock.now()].map((at) => dateIn(at, booking.zone))
  const protocol = protocolOf(deps, booking.protocol)
  return !needsCall(judgement, questionFor({ history, visit: date!, asOf: asOf!, protocol }) !== null)
}

/** An answer is sent in the very words somebody approved, or not at all. */
function maySay({ policy }: Deps, answer: Answer | undefined): boolean {
  return answer !== undefined && (answer.state === 'approved' || policy.allowDrafts)
}
