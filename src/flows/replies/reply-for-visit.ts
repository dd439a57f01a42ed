import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { decideForVisit, type Effect } from '../../domain/replies/decide.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import type { Answer } from '../../domain/preparation/protocol.ts'
import { dateIn } from '../../domain/local-time.ts'
import { answer, type Done, type Conversation } from './conversation.ts'
import { type VisitContext } from '../visit-context.ts'
import { judgeBooking } from '../visits/judge-booking.ts'
import { protocolOf } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { acceptChoice, offerOpenings, supersedeOffer } from '../visits/move-visit.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { closeFollowUps, openFollowUp } from '../calls/follow-ups.ts'
import { noteEvent } from '../visits/note-event.ts'

/** Which visit a reply is about: never guessed. */
export function whichVisit(deps: Deps, { visits: talks, pendingQuestion: asked, offers }: Conversation, reading: Reading): { talk: VisitContext; reading: Reading } | 'ask' {
  const byId = (id: string | undefined) => talks.find(({ booking }) => booking.id === id)
  if (asked && reading.meaning === 'choice') {
    const talk = byId(asked.bookingIds[reading.choice! - 1])
    if (talk) return { talk, reading: asked.reading }
  }
  if (talks.length === 1) return { talk: talks[0]!, reading }
  const offered = offers.length === 1 ? byId(offers[0]!.bookingId) : undefined
  if (reading.meaning === 'choice' && offered) return { talk: offered, reading }
  const touched = touchedVisits(deps, talks, reading)
  return touched.length === 1 ? { talk: touched[0]!, reading } : 'ask'
}

/** News of one patient's period concerns all her visits; only those it spoils need an answer of their own. */
function touchedVisits(deps: Deps, talks: VisitContext[], reading: Reading): VisitContext[] {
  const onePatient = new Set(talks.map(({ patient }) => patient.id)).size === 1
  if (!onePatient || reading.meaning !== 'period-started') return talks
  const spoilt = talks.filter((talk) => decideReply(deps, talk, reading, false).some((effect) => effect.do === 'offer'))
  return spoilt.length === 0 ? talks.slice(0, 1) : spoilt
}

function decideReply(deps: Deps, { booking, patient, clinic }: VisitContext, reading: Reading, offerOpen: boolean): Effect[] {
  const { answers } = protocolOf(deps, booking.protocol)
  return decideForVisit({
    reading,
    history: patient.cycle,
    today: dateIn(deps.clock.now(), booking.zone),
    offerOpen,
    lapsePolicy: clinic.settings.lapsePolicy,
    topics: Object.keys(answers).filter((topic) => maySay(deps, answers[topic]?.[patient.language])),
    keeps: (history: CycleHistory) => judgeBooking(deps, booking, history).keep,
  })
}

/** An answer is sent in the very words somebody approved, or not at all. */
function maySay({ policy }: Deps, answer: Answer | undefined): boolean {
  return answer !== undefined && (answer.state === 'approved' || policy.allowDrafts)
}

/** Does what follows from a reply about one visit. */
export async function replyForVisit(tx: Tx, deps: Deps, hearing: Conversation, talk: VisitContext, reading: Reading): Promise<Done> {
  const offerOpen = hearing.offers.some(({ bookingId }) => bookingId === talk.booking.id)
  const about: VisitContext = { ...talk }
  let done: string = reading.meaning
  for (const effect of decideReply(deps, talk, reading, offerOpen)) done = (await carryOutEffect(tx, deps, hearing, about, effect, reading)) ?? done
  if (reading.language) await openFollowUp(tx, deps, about, 'other-language', { language: reading.language })
  await noteEvent(tx, deps, talk.booking.id, 'reply', 'patient', { reply: hearing.reply.id, meaning: reading.meaning, done })
  return { bookingId: talk.booking.id, done }
}

/** Does one effect; what it changes is seen by the next. @returns a word for what was done, where it says more than the meaning. */
async function carryOutEffect(tx: Tx, deps: Deps, hearing: Conversation, about: VisitContext, effect: Effect, reading: Reading): Promise<string | undefined> {
  switch (effect.do) {
    case 'learn':
      return updateCycle(tx, deps, hearing, about, effect.history)
    case 'say':
      return say(tx, deps, hearing, about, effect)
    case 'follow-up':
      return void (await openFollowUp(tx, deps, about, effect.reason, { words: hearing.reply.text, meaning: reading.meaning, ...effect.detail }))
    case 'confirm':
      return confirm(tx, deps, about)
    case 'note-lapse':
      about.booking = { ...about.booking, lapses: [...about.booking.lapses, hearing.reply.text.slice(0, 300)] }
      return void (await tx.bookings.update(about.booking))
    case 'decline-offer':
      return void (await supersedeOffer(tx, about.booking.id))
    case 'offer':
      return offerOpenings(tx, deps, about, effect.reason)
    case 'accept':
      return accept(tx, deps, about, effect.choice)
    default:
      return undefined
  }
}

/** Her cycle is hers: every visit of hers is planned anew with it. */
async function updateCycle(tx: Tx, deps: Deps, { visits: talks }: Conversation, about: VisitContext, cycle: CycleHistory): Promise<undefined> {
  about.patient = await tx.patients.update(about.patient.id, { cycle })
  for (const talk of talks.filter(({ patient }) => patient.id === about.patient.id)) {
    const { booking } = await makePlan(tx, deps, { ...talk, patient: about.patient })
    if (booking.id === about.booking.id) about.booking = booking
  }
  await closeFollowUps(tx, deps, about.booking.id, asksForTheDay, 'the day was told')
  // A visit that may stay makes an older offer pointless; one that may not gets a new one.
  await supersedeOffer(tx, about.booking.id)
}

/** "Yes, it has started": the call that waited for the day. */
const asksForTheDay = ({ reason, detail }: FollowUp) => reason === 'unclear-reply' && detail.meaning === 'period-started'

async function say(tx: Tx, deps: Deps, hearing: Conversation, about: VisitContext, { kind, topic }: Extract<Effect, { do: 'say' }>): Promise<string> {
  const sentence = topic && protocolOf(deps, about.booking.protocol).answers[topic]?.[about.patient.language]?.sentence
  await answer(tx, deps, hearing, about, kind, sentence ? { answer: sentence } : {})
  return kind
}

async function confirm(tx: Tx, deps: Deps, about: VisitContext): Promise<string> {
  about.booking = { ...about.booking, confirmedAt: deps.clock.now() }
  await tx.bookings.update(about.booking)
  return 'confirm'
}

async function accept(tx: Tx, deps: Deps, about: VisitContext, choice: number): Promise<string> {
  const outcome = await acceptChoice(tx, deps, about, choice)
  // Somebody was quicker, or the hold ran out: offer what there is now.
  return outcome === 'gone' ? offerOpenings(tx, deps, about, 'no-opening') : outcome
}
