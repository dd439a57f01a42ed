import type { Effect } from '../../domain/replies/effects.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { MOST_CHOICES } from '../../domain/visits/choose-openings.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Deps, Records, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import { answer, answeredEnough, becauseOf, sayToNumber, type Conversation, type Done } from './conversation.ts'
import { ASKED_WHICH, leaveQuestion, numberedVisits } from './pending-question.ts'
import { decideReply } from './decide-reply.ts'
import { replyForVisit } from './reply-for-visit.ts'

/** Which visit a reply is about; undefined where it may be one of several: it is never guessed. */
export async function whichVisit(
  records: Records,
  deps: Deps,
  hearing: Conversation,
  reading: Reading,
): Promise<VisitContext | undefined> {
  const { visits, offers } = hearing
  if (visits.length === 1) return visits[0]
  const open = offers.filter(({ state }) => state === 'open')
  const offered = open.length === 1 ? visits.find(({ booking }) => booking.id === open[0]!.bookingId) : undefined
  if (reading.meaning === 'choice' && offered) return offered
  const touched = await touchedVisits(records, deps, hearing, reading)
  return touched.length === 1 ? touched[0] : undefined
}

/**
 * News of one patient's period concerns all visits of the patient; only those it spoils need an answer of their own.
 */
async function touchedVisits(
  records: Records,
  deps: Deps,
  hearing: Conversation,
  reading: Reading,
): Promise<VisitContext[]> {
  const { visits } = hearing
  const onePatient = new Set(visits.map(({ patient }) => patient.id)).size === 1
  if (!onePatient) return visits
  if (reading.meaning === 'unclear') return reading.needs || reading.clinical ? visits.slice(0, 1) : visits
  if (REPLY_MEANINGS[reading.meaning].bleeding !== 'told') return visits
  const decided = await Promise.all(visits.map((visit) => decideReply(records, deps, hearing, visit, reading)))
  // What cannot wait comes first: the others are planned anew with it.
  const near = visits.find((_visit, index) => decided[index]!.some(isAtTheVisit))
  if (near) return [near]
  if (reading.meaning !== 'period-started') return visits
  const spoilt = visits.filter((_visit, index) => decided[index]!.some((effect) => effect.do === 'offer'))
  return spoilt.length === 0 ? visits.slice(0, 1) : spoilt
}

const isAtTheVisit = (effect: Effect) => effect.do === 'follow-up' && effect.reason === 'bleeding-at-visit'

/** Whoever of several is meant is asked, and that takes time: what cannot wait is called about at once. */
async function callAtOnce(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<void> {
  for (const visit of hearing.visits) {
    const effects = await decideReply(tx, deps, hearing, visit, reading)
    if (effects.some(isAtTheVisit)) await openFollowUp(tx, deps, visit, 'bleeding-at-visit', becauseOf(hearing.reply))
  }
}

/**
 * A number that names the visit of an earlier reply: that one is acted on now, by its own words and day.
 * @returns undefined where the reply names none
 */
export async function nameVisit(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  reading: Reading,
): Promise<Done | undefined> {
  const asked = hearing.pendingQuestion
  const { meaning, choice } = reading
  const named = asked && meaning === 'choice' ? numberedVisits(asked)[choice! - 1] : undefined
  if (!asked?.reading || !named) return undefined
  const visit = hearing.visits.find(({ booking }) => booking.id === named.bookingId)
  if (!visit) return isGone(tx, deps, hearing)
  const done = await replyForVisit(tx, deps, { ...hearing, reply: asked }, visit, asked.reading)
  await tx.replies.update({ ...asked, ...done })
  return { bookingId: done.bookingId, done: 'named-visit', answers: asked.id }
}

/** The visit has been cancelled, or is over, since it was asked about. */
async function isGone(tx: Tx, deps: Deps, hearing: Conversation): Promise<Done> {
  await leaveQuestion(tx, deps, hearing, hearing.pendingQuestion!)
  await sayToNumber(tx, deps, hearing, 'unclear')
  return { bookingId: null, done: 'unclear-reply' }
}

/** Asks which visit a reply is about. An older question is not answered any more. */
export async function askWhich(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  await callAtOnce(tx, deps, hearing, reading)
  const { reply, visits, pendingQuestion } = hearing
  const choices = visits.slice(0, MOST_CHOICES).map(({ booking }) => booking)
  const { patient, clinic } = visits[0]!
  const about = { clinic, patient, booking: null, phone: reply.phone }
  if (pendingQuestion) await leaveQuestion(tx, deps, hearing, pendingQuestion)
  if (visits.length > MOST_CHOICES || (await answeredEnough(tx, deps, hearing))) {
    await openFollowUp(tx, deps, about, 'unclear-reply', becauseOf(reply))
    return { bookingId: null, done: 'unclear-reply' }
  }
  await answer(tx, deps, hearing, about, 'which-visit', { choices: choices.map(({ visitAt }) => visitAt) })
  const asked = choices.map(({ id, visitAt }) => ({ bookingId: id, at: visitAt.toISOString() }))
  return { bookingId: null, done: ASKED_WHICH, asked }
}
