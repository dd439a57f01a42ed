import { isAboutTheNumber } from '../../domain/replies/decide.ts'
import type { Meaning, Reading } from '../../domain/replies/reading.ts'
import { MOST_CHOICES } from '../../domain/visits/choose-openings.ts'
import type { InboundMessage } from '../ports/gateway.ts'
import { answer, loadConversation, sayToNumber, answeredEnough, type Done, type Conversation } from './conversation.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { replyForNumber } from './reply-for-number.ts'
import { replyForVisit, whichVisit } from './reply-for-visit.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import { actOnReply, takeReply, type Acted } from './take-reply.ts'

/** Hears one text: keeps it, reads it, does what follows, answers. The same text delivered twice is heard once. */
export async function hearReply(deps: Deps, heard: InboundMessage): Promise<void> {
  const { gateway, key, from, text, at } = heard
  const facts = { clinicId: null, bookingId: null, reading: null, done: null }
  const said: ReplyRecord = { ...facts, id: deps.newId('t'), gateway, key, phone: from, text, receivedAt: at }
  await takeReply(deps, said, (tx, reply) => act(tx, deps, reply))
  await enqueueDue(deps)
}

/** Acts on a text that was kept when acting was not possible. */
export async function actOnText(deps: Deps, id: string): Promise<void> {
  await actOnReply(deps, id, (tx, reply) => act(tx, deps, reply))
}

async function act(tx: Tx, deps: Deps, kept: ReplyRecord): Promise<Acted<null>> {
  const dayAgo = new Date(kept.receivedAt.getTime() - DAY_MS)
  const [hearing, today] = await Promise.all([loadConversation(tx, deps, kept), tx.replies.countFrom(kept.phone, dayAgo)])
  const reading = readIt(deps, hearing)
  const done = isFlood(today, reading) ? TOO_MANY : await respond(tx, deps, hearing, reading)
  return { reply: { ...hearing.reply, reading, ...cycleBefore(hearing, done, reading) }, done, result: null }
}

/** Texts of one number that are acted on in 24 hours; more is a machine, or somebody who should be called. */
const HEARD_A_DAY = 30
const DAY_MS = 86_400_000
/** Acted on however many came before. */
const NEVER_TOO_MANY: ReadonlySet<Meaning> = new Set(['stop', 'urgent', 'wrong-person', 'died'])

/** A flood from one number must not bury the call list: it is kept to be read, but opens nothing more. */
function isFlood(today: number, { meaning, also = [] }: Reading): boolean {
  return today > HEARD_A_DAY && ![meaning, ...also].some((each) => NEVER_TOO_MANY.has(each))
}

const TOO_MANY: Done = { bookingId: null, done: 'too-many' }

const CHANGES_DATES: ReadonlySet<Meaning> = new Set(['period-started', 'not-started', 'still-bleeding', 'bleeding-ended'])

/** The cycle as it was, where this reply may have changed it: it was read before. */
export function cycleBefore({ visits: talks }: Conversation, { bookingId }: Done, { meaning }: Reading): Pick<ReplyRecord, 'cycleBefore'> {
  const talk = CHANGES_DATES.has(meaning) && talks.find(({ booking }) => booking.id === bookingId)
  return talk ? { cycleBefore: talk.patient.cycle } : {}
}

function readIt(deps: Deps, { reply, patients, visits: talks, pendingQuestion: asked, lastAsked, said, offers }: Conversation): Reading {
  const [talk] = talks
  const offered = asked
    ? asked.bookingIds.map((id) => talks.find(({ booking }) => booking.id === id)?.booking.visitAt).filter((at) => at !== undefined)
    : (offers[0]?.instants ?? [])
  const reading = deps.readReply(reply.text, {
    language: patients[0]?.language ?? 'en',
    receivedAt: reply.receivedAt,
    zone: talk?.booking.zone ?? talk?.clinic.zone ?? 'UTC',
    ...(talk && { visit: talk.booking.visitAt }),
    choices: asked ? asked.bookingIds.length : offered.length,
    offered,
    ...(lastAsked && { asked: lastAsked }),
    said,
  })
  const threshold = talk?.clinic.settings.minConfidence ?? 0
  return reading.confidence < threshold && !isAboutTheNumber(reading.meaning) ? { ...reading, meaning: 'unclear' } : reading
}

async function respond(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  if (isAboutTheNumber(reading.meaning)) return replyForNumber(tx, deps, hearing, reading)
  if (hearing.visits.length === 0) return withoutVisit(tx, deps, hearing)
  const chosen = whichVisit(deps, hearing, reading)
  if (chosen === 'ask') return askWhich(tx, deps, hearing, reading)
  if (hearing.pendingQuestion) await tx.replies.putThread({ phone: hearing.reply.phone, clinicId: hearing.clinic!.id, pendingQuestion: null })
  return replyForVisit(tx, deps, hearing, chosen.talk, chosen.reading)
}

/** A text that is about no visit we know of: a person reads it. Only a known patient is answered. */
async function withoutVisit(tx: Tx, deps: Deps, hearing: Conversation): Promise<Done> {
  const { reply, clinic, patients } = hearing
  const [patient] = patients
  const reason = patient ? 'unclear-reply' : 'unknown-sender'
  await openFollowUp(tx, deps, { clinic, patient: patient ?? null, booking: null, phone: reply.phone }, reason, { words: reply.text })
  await sayToNumber(tx, deps, hearing, 'unclear')
  return { bookingId: null, done: reason }
}

async function askWhich(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  const { reply, visits: talks } = hearing
  const choices = talks.slice(0, MOST_CHOICES)
  const { patient, clinic } = choices[0]!
  const tooMany = talks.length > MOST_CHOICES || (await answeredEnough(tx, deps, hearing))
  if (tooMany) {
    await openFollowUp(tx, deps, { clinic, patient, booking: null, phone: reply.phone }, 'unclear-reply', { words: reply.text })
    return { bookingId: null, done: 'unclear' }
  }
  const asked = { bookingIds: choices.map(({ booking }) => booking.id), reading, replyId: reply.id, at: deps.clock.now().toISOString() }
  await tx.replies.putThread({ phone: reply.phone, clinicId: clinic.id, pendingQuestion: asked })
  await answer(tx, deps, hearing, { patient, clinic, booking: null }, 'which-visit', { choices: choices.map(({ booking }) => booking.visitAt) })
  return { bookingId: null, done: 'asked-which' }
}
