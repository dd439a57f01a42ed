import type { Booking } from '../../domain/visits/booking.ts'
import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { dateIn, inZone } from '../../domain/local-time.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { PLACE } from '../../domain/replies/decide-for-visit.ts'
import type { Effect } from '../../domain/replies/effects.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { closeFollowUps, openFollowUp } from '../calls/follow-ups.ts'
import { loadVisit, protocolOf } from '../lookups.ts'
import { keptNoted } from '../messages/render-message.ts'
import { makePlan, type Planned } from '../preparation/make-plan.ts'
import type { Deps, ReplyEffects, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import { noLongerBad, tellTiming, judgeTiming } from '../visits/tell-timing.ts'
import { acceptChoice } from '../visits/move-visit.ts'
import { offerOpenings, supersedeOffer } from '../visits/offer-openings.ts'
import { noteEvent } from '../visits/note-event.ts'
import { answer, becauseOf, endedOffers, noteWords, type Conversation, type Done } from './conversation.ts'
import { decideReply } from './decide-reply.ts'
import { leaveQuestion } from './pending-question.ts'
import { lastNews } from './last-news.ts'
import { takeBack } from './take-back.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import { languageWords } from '../../domain/replies/other-language.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'

/** One reply while it is acted on: what an effect changes is seen by the next. */
interface Turn {
  hearing: Conversation
  visit: VisitContext
  reading: Reading
  did: ReplyEffects
  /** It wanted an answer, and the number has had as many as it gets. */
  unanswered: boolean
}

/** Does what follows from a reply about one visit. */
export async function replyForVisit(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  visit: VisitContext,
  reading: Reading,
): Promise<Done> {
  const turn: Turn = { hearing, visit: { ...visit }, reading, did: {}, unanswered: false }
  const effects = await decideReply(tx, deps, hearing, visit, reading)
  let done: string = reading.meaning
  for (const effect of effects) done = (await carryOutEffect(tx, deps, turn, effect)) ?? done
  if (turn.unanswered && !effects.some((effect) => effect.do === 'follow-up')) await leaveAnswerToDesk(tx, deps, turn)
  if (reading.language) await openFollowUp(tx, deps, turn.visit, 'other-language', inLanguage(reading.language))
  const did = { ...turn.did, ...(await offersOf(tx, deps, turn, done)) }
  const { id: bookingId } = visit.booking
  await noteEvent(tx, deps, bookingId, 'reply', 'patient', { reply: hearing.reply.id, meaning: reading.meaning, done })
  return { bookingId, done, did }
}

const inLanguage = (language: string) => ({ language, why: `Written in ${languageWords(language)}.` })

/** Does one effect. @returns a word for what was done, where it says more than the meaning. */
async function carryOutEffect(tx: Tx, deps: Deps, turn: Turn, effect: Effect): Promise<string | undefined> {
  const because = becauseOf(turn.hearing.reply)
  const { meaning } = turn.reading
  switch (effect.do) {
    case 'learn':
      return updateCycle(tx, deps, turn, effect.history)
    case 'say':
      return say(tx, deps, turn, effect)
    case 'follow-up':
      return void (await openFollowUp(tx, deps, turn.visit, effect.reason, { ...because, meaning, ...effect.detail }))
    case 'undo':
      return undo(tx, deps, turn)
    case 'confirm':
      return confirm(tx, deps, turn)
    case 'note-lapse':
      return note(tx, turn, 'lapses')
    case 'note-need':
      return note(tx, turn, 'needs')
    case 'offer':
      return offerOpenings(tx, deps, turn.visit, effect.reason, because)
    case 'accept':
      return accept(tx, deps, turn, effect.choice)
    // Of the number, not of a visit: see reply-for-number.ts.
    case 'opt-in':
    case 'opt-out':
    case 'report-death':
      return undefined
  }
}

/** The cycle is the patient's: every visit of the patient is planned anew with it. */
async function updateCycle(tx: Tx, deps: Deps, turn: Turn, after: CycleHistory): Promise<undefined> {
  const { patient, booking } = turn.visit
  turn.did.cycle = { before: patient.cycle, after }
  turn.visit.patient = await tx.patients.update(patient.id, { cycle: after })
  for (const each of turn.hearing.visits.filter((visit) => visit.patient.id === patient.id)) {
    const about = { ...each, patient: turn.visit.patient }
    const planned = await makePlan(tx, deps, about)
    await endOfferByDates(tx, deps, turn, planned.booking.id)
    if (planned.booking.id === booking.id) await talkOn(tx, deps, turn, planned.booking)
    else await leaveToDesk(tx, deps, turn, { ...about, ...planned }, patient.cycle)
  }
  await closeFollowUps(tx, deps, booking.id, asksForTheDay, 'the day was told')
}

/** "Yes, it has started": the call that waited for the day. */
const asksForTheDay = ({ reason, detail }: FollowUp) =>
  reason === 'unclear-reply' && detail.meaning === 'period-started'

/** Times that were offered because of the dates fit no more. Whoever cannot come still needs another. */
async function endOfferByDates(tx: Tx, deps: Deps, { hearing }: Turn, bookingId: string): Promise<void> {
  const offer = hearing.offers.find((each) => each.bookingId === bookingId)
  if (offer?.reason === 'no-opening') await supersedeOffer(tx, deps, bookingId)
}

/** The visit that is being talked about: better times are offered here and now. */
async function talkOn(tx: Tx, deps: Deps, turn: Turn, planned: Booking): Promise<void> {
  turn.visit.booking = planned
  if (!judgeTiming(deps, turn.visit).worthACall) await noLongerBad(tx, deps, planned.id)
}

/** Only one visit is talked about: the desk sees to others that the news spoils. */
function leaveToDesk(
  tx: Tx,
  deps: Deps,
  { hearing }: Turn,
  { plan, ...about }: VisitContext & Pick<Planned, 'plan'>,
  before: CycleHistory,
): Promise<void> {
  return tellTiming(tx, deps, about, { plan, before, because: becauseOf(hearing.reply) })
}

async function say(
  tx: Tx,
  deps: Deps,
  turn: Turn,
  { kind, topic, noted }: Extract<Effect, { do: 'say' }>,
): Promise<string> {
  const { visit } = turn
  const { answers } = protocolOf(deps, visit.booking.protocol)
  const sentence = topic === PLACE ? placeOf(visit) : topic && answers[topic]?.[visit.patient.language]?.sentence
  const words = noted ? keptNoted(noted) : sentence
  const answered = await answer(tx, deps, turn.hearing, visit, kind, words ? { answer: words } : {})
  if (!answered && MESSAGE_KINDS[kind].unanswered === 'call') turn.unanswered = true
  return kind
}

/** When and where, in figures and the clinic's own words: they are the same in every language. */
function placeOf({ booking, clinic: { settings } }: VisitContext): string {
  const when = inZone(booking.visitAt, booking.zone).toFormat('yyyy-MM-dd HH:mm')
  return [when, settings.address, settings.directions].filter(Boolean).join('. ')
}

/** Nothing else tells the desk of this reply, and nobody has answered it. */
async function leaveAnswerToDesk(tx: Tx, deps: Deps, { hearing, visit, reading }: Turn): Promise<void> {
  const reason = REPLY_MEANINGS[reading.meaning].unanswered
  await openFollowUp(tx, deps, visit, reason, becauseOf(hearing.reply))
}

/** The visit is read again: its plan has been made anew. */
async function undo(tx: Tx, deps: Deps, turn: Turn): Promise<string> {
  const { hearing, visit } = turn
  const news = await lastNews(tx, hearing, visit)
  if (news) await takeBack(tx, deps, hearing, news, 'patient')
  turn.visit = await loadVisit(tx, await tx.bookings.get(visit.booking.id))
  const on = dateIn(deps.clock.now(), visit.booking.zone)
  return say(tx, deps, turn, { do: 'say', kind: 'no-change', noted: { heard: 'undone', on, stays: true } })
}

async function confirm(tx: Tx, deps: Deps, turn: Turn): Promise<string> {
  const confirmedAt = deps.clock.now()
  turn.visit.booking = { ...turn.visit.booking, confirmedAt }
  turn.did.confirmedAt = confirmedAt.toISOString()
  await tx.bookings.update(turn.visit.booking)
  return 'confirm'
}

async function note(tx: Tx, turn: Turn, where: 'lapses' | 'needs'): Promise<undefined> {
  const { booking, words } = await noteWords(tx, turn.visit.booking, turn.hearing.reply, where)
  turn.visit.booking = booking
  turn.did[where === 'lapses' ? 'lapse' : 'need'] = words
}

async function accept(tx: Tx, deps: Deps, turn: Turn, choice: number): Promise<string> {
  const outcome = await acceptChoice(tx, deps, turn.visit, choice)
  if (outcome !== 'gone') return outcome
  // Somebody was quicker, or the hold ran out: offer what there is now.
  return offerOpenings(tx, deps, turn.visit, 'no-opening', becauseOf(turn.hearing.reply))
}

/** What became of the offers. A new one wants a number of its own: an older question is not answered any more. */
async function offersOf(
  tx: Tx,
  deps: Deps,
  { hearing, visit }: Turn,
  done: string,
): Promise<Pick<ReplyEffects, 'offerId' | 'ended'>> {
  const ended = await endedOffers(tx, hearing)
  const offer = await tx.offers.pending(visit.booking.id)
  const isNew = offer !== undefined && !hearing.offers.some(({ id }) => id === offer.id)
  const { pendingQuestion, reply } = hearing
  if (isNew && pendingQuestion && pendingQuestion.id !== reply.id)
    await leaveQuestion(tx, deps, hearing, pendingQuestion)
  return { ...(ended.length > 0 && { ended }), ...((isNew || done === 'waiting') && { offerId: offer!.id }) }
}
