import { isAboutTheNumber, type Reading } from '../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { asUnreadable, madeOut, ofDamaged } from '../../domain/replies/unreadable.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import type { InboundMessage } from '../ports/gateway.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { becauseOf, sayToNumber, type Conversation, type Done } from './conversation.ts'
import { numberedVisits } from './pending-question.ts'
import { replyForNumber } from './reply-for-number.ts'
import { replyForVisit } from './reply-for-visit.ts'
import { actOnReply, takeReply, type WayIn } from './take-reply.ts'
import { askWhich, nameVisit, whichVisit } from './which-visit.ts'

/** Hears one text: keeps it, reads it, does what follows, answers. The same text delivered twice is heard once. */
export async function hearReply(deps: Deps, heard: InboundMessage): Promise<void> {
  const { gateway, key, from, octets, at } = heard
  const text = octets === undefined ? heard.text : asUnreadable(octets, heard.text)
  const facts = { clinicId: null, bookingId: null, patientId: null, reading: null, done: null }
  const said: ReplyRecord = { ...facts, id: deps.newId('t'), gateway, key, phone: from, text, octets, receivedAt: at }
  await takeReply(deps, said, byText(deps))
  await enqueueDue(deps)
}

/** Acts on a text that was kept when acting was not possible. */
export async function actOnText(deps: Deps, id: string): Promise<void> {
  await actOnReply(deps, id, byText(deps))
}

function byText(deps: Deps): WayIn<null> {
  return {
    read: (_tx, hearing) => readIt(deps, hearing),
    act: async (tx, hearing, reading) => {
      const { phone, receivedAt } = hearing.reply
      const today = await tx.replies.countFrom(phone, new Date(receivedAt.getTime() - DAY_MS))
      const done = isFlood(today, reading) ? TOO_MANY : await respond(tx, deps, hearing, reading)
      return { done, result: null }
    },
  }
}

/** Texts of one number that are acted on in 24 hours; more is a machine, or somebody who should be called. */
const HEARD_A_DAY = 30
const DAY_MS = 86_400_000
/** A flood from one number must not bury the call list: it is kept to be read, but opens nothing more. */
function isFlood(today: number, { meaning, also = [] }: Reading): boolean {
  return today > HEARD_A_DAY && ![meaning, ...also].some((each) => REPLY_MEANINGS[each].inAFlood)
}

const TOO_MANY: Done = { bookingId: null, done: 'too-many' }

function readIt(deps: Deps, hearing: Conversation): Reading {
  const { reply, patients, visits, lastAsked, said } = hearing
  const [visit] = visits
  const offered = timesAskedAbout(hearing)
  const damaged = reply.octets !== undefined
  const reading = deps.readReply(damaged ? madeOut(reply.text) : reply.text, {
    language: patients[0]?.language ?? 'en',
    receivedAt: reply.receivedAt,
    zone: visit?.booking.zone ?? visit?.clinic.zone ?? 'UTC',
    ...(visit && { visit: visit.booking.visitAt }),
    choices: offered.length,
    offered,
    ...(lastAsked && { asked: lastAsked }),
    said,
  })
  if (damaged) return ofDamaged(reading)
  const threshold = visit?.clinic.settings.minConfidence ?? 0
  return reading.confidence < threshold && !isAboutTheNumber(reading.meaning)
    ? { ...reading, meaning: 'unclear' }
    : reading
}

/** What a number stands for: the visits that were asked about last, else the times on offer. */
function timesAskedAbout({ pendingQuestion, offers }: Conversation): Date[] {
  if (pendingQuestion) return numberedVisits(pendingQuestion).map(({ at }) => at)
  return offers.find(({ state }) => state === 'open')?.choices.map(({ at }) => at) ?? []
}

async function respond(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  if (isAboutTheNumber(reading.meaning)) return replyForNumber(tx, deps, hearing, reading)
  if (hearing.visits.length === 0) return withoutVisit(tx, deps, hearing)
  const named = await nameVisit(tx, deps, hearing, reading)
  if (named) return named
  const visit = await whichVisit(tx, deps, hearing, reading)
  return visit ? replyForVisit(tx, deps, hearing, visit, reading) : askWhich(tx, deps, hearing, reading)
}

/** A text that is about no visit we know of: a person reads it. Only a known patient is answered. */
async function withoutVisit(tx: Tx, deps: Deps, hearing: Conversation): Promise<Done> {
  const { reply, clinic, patients } = hearing
  const [patient] = patients
  const reason = patient ? 'unclear-reply' : 'unknown-sender'
  const about = { clinic, patient: patient ?? null, booking: null, phone: reply.phone }
  await openFollowUp(tx, deps, about, reason, becauseOf(reply))
  await sayToNumber(tx, deps, hearing, 'unclear')
  return { bookingId: null, done: reason }
}
