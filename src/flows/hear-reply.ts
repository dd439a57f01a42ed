import type { Booking, Patient } from '../domain/booking.ts'
import { isAboutTheNumber } from '../domain/replies/decide.ts'
import type { Meaning, Question, Reading } from '../domain/replies/reading.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import { MOST_CHOICES } from '../domain/rebook/choose.ts'
import type { Heard } from './gateway.ts'
import { answer, sayToNumber, talkedEnough, type Done, type Hearing, type Talk } from './hearing.ts'
import type { Deps, ReplyRecord, Tx } from './ports.ts'
import { openFollowUp } from './records-made.ts'
import { forNumber } from './reply-for-number.ts'
import { forVisit, whichVisit } from './reply-for-visit.ts'
import { ringDue } from './ring-due.ts'

/** A visit stays the subject of replies for half a day after it began. */
const STILL_ABOUT_MS = 43_200_000

/** Hears one text: reads it, does what follows, answers. The same text delivered twice is heard once. */
export async function hearReply(deps: Deps, heard: Heard): Promise<void> {
  await deps.store.transact((tx) => hear(tx, deps, heard))
  await ringDue(deps)
}

async function hear(tx: Tx, deps: Deps, heard: Heard): Promise<void> {
  const reply: ReplyRecord = {
    id: deps.newId('t'),
    gateway: heard.gateway,
    key: heard.key,
    phone: heard.from,
    text: heard.text,
    receivedAt: heard.at,
    bookingId: null,
    reading: null,
    done: null,
  }
  const dayAgo = new Date(heard.at.getTime() - DAY_MS)
  const [isNew, hearing, today] = await Promise.all([tx.replies.insert(reply), gather(tx, deps, reply), tx.replies.countFrom(heard.from, dayAgo)])
  if (!isNew) return
  reply.reading = readIt(deps, hearing)
  const done = isFlood(today, reply.reading) ? TOO_MANY : await respond(tx, deps, hearing, reply.reading)
  await tx.replies.update({ ...reply, ...done, ...before(hearing, done, reply.reading) })
  deps.notice('reply-heard', { reply: reply.id, ...(done.bookingId && { booking: done.bookingId }) })
}

/** Texts of one number that are acted on in 24 hours; more is a machine, or somebody who should be called. */
const HEARD_A_DAY = 30
const DAY_MS = 86_400_000
/** Acted on however many came before. */
const NEVER_TOO_MANY: ReadonlySet<Meaning> = new Set(['stop', 'urgent', 'wrong-person'])

/** A flood from one number must not bury the call list: it is kept to be read, but opens nothing more. */
function isFlood(today: number, { meaning, also = [] }: Reading): boolean {
  return today > HEARD_A_DAY && ![meaning, ...also].some((each) => NEVER_TOO_MANY.has(each))
}

const TOO_MANY: Done = { bookingId: null, done: 'too-many' }

const CHANGES_HER_DATES: ReadonlySet<Meaning> = new Set(['period-started', 'not-started', 'still-bleeding', 'bleeding-ended'])

/** Her cycle as it was, where this reply may have changed it: `gather` read it before. */
function before({ talks }: Hearing, { bookingId }: Done, { meaning }: Reading): Pick<ReplyRecord, 'cycleBefore'> {
  const talk = CHANGES_HER_DATES.has(meaning) && talks.find(({ booking }) => booking.id === bookingId)
  return talk ? { cycleBefore: talk.patient.cycle } : {}
}

/** What is known of whoever wrote. Their visits stay locked until the transaction ends. */
export async function gather(tx: Tx, deps: Deps, reply: ReplyRecord): Promise<Hearing> {
  const { phone, receivedAt } = reply
  const [known, thread, last] = await Promise.all([
    tx.patients.byPhone(phone),
    tx.replies.thread(phone),
    tx.messages.lastSaid(phone, new Date(receivedAt.getTime() - WEEK_MS), receivedAt),
  ])
  const from = new Date(deps.clock.now().getTime() - STILL_ABOUT_MS)
  const patientIds = known.map(({ id }) => id)
  const visits = known.length === 0 ? [] : await tx.bookings.list({ patientIds, from, state: 'booked', limit: 20 })
  const lastAsked = last && ASKS[last]
  return { reply, asked: thread?.asked ?? null, lastAsked, ...(await locked(tx, phone, known, visits)) }
}

const WEEK_MS = 7 * 86_400_000
/** What the texts that ask something ask. */
const ASKS: Partial<Record<TextKind, Question>> = {
  'cycle-check': 'started',
  'lmp-question': 'day',
  'day-before': 'either',
  'which-visit': 'which-visit',
  offer: 'which-time',
}

/**
 * The visits, locked so that the desk cannot move one between what is read here and what is done about it; and what may have
 * changed while the lock was waited for, read after it.
 */
async function locked(tx: Tx, phone: string, known: Patient[], visits: Booking[]): Promise<Pick<Hearing, 'patients' | 'talks' | 'offers'>> {
  if (visits.length === 0) return { patients: known, talks: [], offers: [] }
  const [bookings, patients, clinics, pending] = await Promise.all([
    Promise.all(visits.map(({ id }) => tx.bookings.lock(id))),
    tx.patients.byPhone(phone),
    Promise.all([...new Set(visits.map(({ clinicId }) => clinicId))].map((id) => tx.clinics.get(id))),
    Promise.all(visits.map(({ id }) => tx.offers.pending(id))),
  ])
  const talks = bookings.flatMap((booking): Talk[] => {
    const patient = patients.find(({ id }) => id === booking?.patientId)
    const clinic = clinics.find((each) => each?.id === booking?.clinicId)
    return booking?.state === 'booked' && patient && clinic ? [{ booking, patient, clinic }] : []
  })
  const offers = pending.flatMap((offer) => (offer?.state === 'open' ? [{ bookingId: offer.bookingId, instants: offer.choices.map(({ at }) => at) }] : []))
  return { patients, talks, offers: offers.filter(({ bookingId }) => talks.some(({ booking }) => booking.id === bookingId)) }
}

function readIt(deps: Deps, { reply, patients, talks, asked, lastAsked, offers }: Hearing): Reading {
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
  })
  const threshold = talk?.clinic.settings.minConfidence ?? 0
  return reading.confidence < threshold && !isAboutTheNumber(reading.meaning) ? { ...reading, meaning: 'unclear' } : reading
}

async function respond(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  if (isAboutTheNumber(reading.meaning)) return forNumber(tx, deps, hearing, reading)
  if (hearing.talks.length === 0) return withoutVisit(tx, deps, hearing)
  const chosen = whichVisit(deps, hearing, reading)
  if (chosen === 'ask') return askWhich(tx, deps, hearing, reading)
  if (hearing.asked) await tx.replies.putThread({ phone: hearing.reply.phone, asked: null })
  return forVisit(tx, deps, hearing, chosen.talk, chosen.reading)
}

/** A text that is about no visit we know of: a person reads it. Only a known patient is answered. */
async function withoutVisit(tx: Tx, deps: Deps, hearing: Hearing): Promise<Done> {
  const { reply, patients } = hearing
  const [patient] = patients
  const reason = patient ? 'unclear-reply' : 'unknown-sender'
  await openFollowUp(tx, deps, { clinic: null, patient: patient ?? null, booking: null, phone: reply.phone }, reason, { words: reply.text })
  await sayToNumber(tx, deps, hearing, 'unclear')
  return { bookingId: null, done: reason }
}

async function askWhich(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  const { reply, talks } = hearing
  const choices = talks.slice(0, MOST_CHOICES)
  const { patient, clinic } = choices[0]!
  const tooMany = talks.length > MOST_CHOICES || (await talkedEnough(tx, deps, hearing))
  if (tooMany) {
    await openFollowUp(tx, deps, { clinic, patient, booking: null, phone: reply.phone }, 'unclear-reply', { words: reply.text })
    return { bookingId: null, done: 'unclear' }
  }
  const asked = { bookingIds: choices.map(({ booking }) => booking.id), reading, replyId: reply.id, at: deps.clock.now().toISOString() }
  await tx.replies.putThread({ phone: reply.phone, asked })
  await answer(tx, deps, hearing, { patient, clinic, booking: null }, 'which-visit', { choices: choices.map(({ booking }) => booking.visitAt) })
  return { bookingId: null, done: 'asked-which' }
}
