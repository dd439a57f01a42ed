import type { Booking } from '../../domain/visits/booking.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { UNSENT, type Message } from '../../domain/messages/message.ts'
import { dateIn } from '../../domain/local-time.ts'
import { isAboutTheNumber, type Reading } from '../../domain/replies/reading.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { CallScript, Step } from '../../domain/messages/voice/call-script.ts'
import { codeOf, readingOf } from '../../domain/messages/voice/pressed.ts'
import type { KeyPress } from '../ports/gateway.ts'
import { becauseOf, nearest, type Done, type Conversation } from './conversation.ts'
import { type VisitContext } from '../visit-context.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { replyForNumber } from './reply-for-number.ts'
import { replyForVisit } from './reply-for-visit.ts'
import { subjectOf } from '../lookups.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import { takeReply, type WayIn } from './take-reply.ts'
import { renderCall, renderMessage } from '../messages/render-message.ts'

/**
 * Hears a key pressed in a call: the same flow as for a text, but what would be texted in answer is said, and texted
 * only where that is worth having besides. The same answer told twice is heard once.
 *
 * @returns what the call says next; null where the thanks of its script will do.
 */
export async function hearKeys(deps: Deps, answered: KeyPress): Promise<Step | null> {
  const { bookings, clinics, messages } = deps.store.read
  const message = await messages.get(answered.messageId)
  if (message?.channel !== 'voice' || message.gateway !== answered.gateway) return null
  const booking = message.bookingId === null ? undefined : await bookings.get(message.bookingId)
  const zone = (booking ?? (await clinics.get(message.clinicId))!).zone
  const acted = await takeReply(deps, replyOf(deps, answered, message, zone), byKey(deps, message))
  await enqueueDue(deps)
  return typeof acted === 'string' ? null : acted.result
}

function replyOf(deps: Deps, { gateway, key, pressed, at }: KeyPress, message: Message, zone: string): ReplyRecord {
  const { bookingId, patientId, clinicId, phone } = message
  const text = `(by key) ${codeOf(pressed)}`
  const reading = readingOf(pressed, dateIn(at, zone))
  return {
    id: deps.newId('t'),
    gateway,
    key,
    phone,
    text,
    receivedAt: at,
    bookingId,
    patientId,
    clinicId,
    reading,
    done: null,
  }
}

/**
 * The call of a message, for a peer that fetches it itself; null once it is over or no longer wanted. One that has
 * begun goes on also when it has told its end already.
 */
export async function callOf(deps: Deps, messageId: string, moment: 'begin' | 'go-on'): Promise<CallScript | null> {
  const { messages, bookings, patients, clinics } = deps.store.read
  const message = await messages.get(messageId)
  if (message?.channel !== 'voice' || !MAY_SPEAK[moment].has(message.state)) return null
  if (message.notAfter <= deps.clock.now() && moment === 'begin') return null
  const booking = (message.bookingId !== null && (await bookings.get(message.bookingId))) || null
  const patient = (message.patientId !== null && (await patients.get(message.patientId))) || null
  const clinic = (await clinics.get(message.clinicId))!
  return renderMessage(deps, message, { booking, patient, clinic, zone: booking?.zone ?? clinic.zone }).voice ?? null
}

const UNDER_WAY: ReadonlySet<string> = new Set(['sending', 'sent'])
const MAY_SPEAK = { begin: UNDER_WAY, 'go-on': new Set([...UNDER_WAY, 'delivered', 'undelivered']) }

function byKey(deps: Deps, message: Message): WayIn<Step | null> {
  return {
    read: (tx, { reply }) => meant(tx, reply.reading!, message),
    act: async (tx, hearing, reading) => {
      const before = new Set(await answersTo(tx, message))
      const done = await respond(tx, deps, hearing, reading, message)
      const made = (await answersTo(tx, message)).filter((id) => !before.has(id))
      return { done, result: await sayInCall(tx, deps, made, hearing.reply.gateway) }
    },
  }
}

/** A number chosen in a call stands for a time that was said in it: if that is on offer no more, a person must ask. */
async function meant(tx: Tx, reading: Reading, { kind, bookingId, choices }: Message): Promise<Reading> {
  if (reading.meaning !== 'choice' || MESSAGE_KINDS[kind].about !== 'offer' || bookingId === null) return reading
  const chosen = choices[reading.choice! - 1]?.getTime()
  const offer = await tx.offers.pending(bookingId)
  const at = offer?.state === 'open' ? offer.choices.findIndex((choice) => choice.at.getTime() === chosen) : -1
  return at < 0 ? { meaning: 'unclear', confidence: 1, words: [] } : { ...reading, choice: at + 1 }
}

/** A call is about one visit, which its message names; nothing needs to be guessed. */
async function respond(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading, message: Message): Promise<Done> {
  if (isAboutTheNumber(reading.meaning)) return replyForNumber(tx, deps, hearing, reading)
  const visit = hearing.visits.find(({ booking }) => booking.id === message.bookingId)
  if (!visit) return withoutVisit(tx, deps, hearing)
  if (reading.meaning === 'period-started' && reading.startedOn === undefined) return askWhen(tx, deps, hearing, visit)
  return replyForVisit(tx, deps, hearing, visit, reading)
}

/** It started before yesterday: which day that was, only a person can ask. */
async function askWhen(tx: Tx, deps: Deps, { reply }: Conversation, visit: VisitContext): Promise<Done> {
  const words = 'The period started before yesterday. Ask on which day.'
  await openFollowUp(tx, deps, visit, 'unclear-reply', { reply: reply.id, words, meaning: 'period-started' })
  return { bookingId: visit.booking.id, done: 'period-started' }
}

/** The visit is over, cancelled or gone. */
async function withoutVisit(tx: Tx, deps: Deps, hearing: Conversation): Promise<Done> {
  const about = { ...nearest(hearing), patient: hearing.patients[0] ?? null, booking: null }
  await openFollowUp(tx, deps, about, 'unclear-reply', becauseOf(hearing.reply))
  return { bookingId: null, done: 'unclear' }
}

/** Ids of answers to a number that have not gone yet. */
async function answersTo(tx: Tx, { phone, clinicId }: Message): Promise<string[]> {
  const all = await tx.messages.toPhone(phone, clinicId, new Date(0))
  return all.filter(({ prompted, state }) => prompted && UNSENT.includes(state)).map(({ id }) => id)
}

/**
 * Says the answer that was just made; it counts as delivered, unless it is worth having in writing too. What was noted
 * before it is not said as well.
 */
async function sayInCall(tx: Tx, deps: Deps, made: readonly string[], gateway: string): Promise<Step | null> {
  const said: Step[] = []
  const answers = await Promise.all(made.map(async (id) => (await tx.messages.get(id))!))
  const noted = answers.length > 1 ? answers.filter(({ kind }) => kind === 'no-change') : []
  for (const { id } of noted) await tx.messages.move(id, UNSENT, 'withdrawn', { code: 'in-call' })
  for (const answer of answers.filter((each) => !noted.includes(each))) {
    const spoken = await speak(tx, deps, answer)
    if (!spoken) continue
    said.push(spoken)
    if (MESSAGE_KINDS[answer.kind].inWriting && (await mayText(tx, deps, answer))) continue
    const now = deps.clock.now()
    const facts = { gateway, text: spoken.say[0]!, sentAt: now, endedAt: now, code: 'in-call' } as const
    await tx.messages.move(answer.id, UNSENT, 'delivered', facts)
  }
  return said[0] ?? null
}

async function speak(tx: Tx, deps: Deps, answer: Message): Promise<Step | null> {
  const booking: Booking | null = (answer.bookingId !== null && (await tx.bookings.get(answer.bookingId))) || null
  const patient = (answer.patientId !== null && (await tx.patients.get(answer.patientId))) || null
  const clinic: Clinic = (await tx.clinics.get(answer.clinicId))!
  const spoken = renderCall(deps, answer, { booking, patient, clinic, zone: booking?.zone ?? clinic.zone })
  return spoken && (spoken.state === 'approved' || deps.policy.allowDrafts) ? spoken.step : null
}

async function mayText(tx: Tx, deps: Deps, answer: Message): Promise<boolean> {
  const { patient, ...about } = await subjectOf(tx, answer)
  return patient !== null && (await unreachableBy(tx, { ...about, patient }, deps.clock.now(), 'sms')) === null
}
