import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { addresseeOf } from '../../domain/replies/addressee.ts'
import { SENT_STATES, type Message } from '../../domain/messages/message.ts'
import type { Question } from '../../domain/replies/reading.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { lockVisits } from '../patients/follow-patient.ts'
import type { Deps, ReplyRecord, Thread, Tx } from '../ports/deps.ts'
import { newAnswer } from '../messages/new-message.ts'
import type { VisitContext } from '../visit-context.ts'

const DAY_MS = 86_400_000
const WEEK_MS = 7 * DAY_MS
/** A visit stays the subject of replies for half a day after it began. */
const STILL_ABOUT_MS = 43_200_000

/** Everything known when a text comes in: of the clinic that it was written to. */
export interface Conversation {
  reply: ReplyRecord
  clinic: Clinic | null
  /** The clinic's patients at the number. */
  patients: Patient[]
  /** Everybody at the number, at every clinic: for what concerns the number itself. */
  everybody: Patient[]
  visits: VisitContext[]
  pendingQuestion: NonNullable<Thread['pendingQuestion']> | null
  /** What the last thing said asked for. */
  lastAsked: Question | undefined
  /** What the clinic said to the number lately, in its words: a phone may quote it back. */
  said: string[]
  /** Bookings with an offer that waits for a number, with its instants. */
  offers: { bookingId: string; instants: Date[] }[]
}

/** What came of a reply: the visit it was about, and a word for what was done. */
export type Done = { bookingId: string | null; done: string }

/** What the texts that ask something ask. */
const ASKS: Partial<Record<TextKind, Question>> = {
  'cycle-check': 'started',
  'lmp-question': 'day',
  'day-before': 'either',
  'which-visit': 'which-visit',
  offer: 'which-time',
}

/** What is known of whoever wrote. The visits stay locked until the transaction ends, so that the desk cannot move one meanwhile. */
export async function loadConversation(tx: Tx, deps: Deps, heard: ReplyRecord): Promise<Conversation> {
  const { phone, receivedAt } = heard
  const [, known] = await Promise.all([tx.patients.lockNumber(phone), tx.patients.byPhone(phone)])
  const reply = { ...heard, clinicId: heard.clinicId ?? (await addresseeAmong(tx, deps, heard, known)) }
  const clinic = reply.clinicId === null ? undefined : await tx.clinics.get(reply.clinicId)
  if (!clinic) return { reply, clinic: null, patients: [], everybody: known, visits: [], pendingQuestion: null, lastAsked: undefined, said: [], offers: [] }
  const [thread, recent, talks] = await Promise.all([
    tx.replies.thread(phone, clinic.id),
    tx.messages.toPhone(phone, clinic.id, new Date(receivedAt.getTime() - WEEK_MS)),
    lockVisitsOf(tx, deps, known, clinic),
  ])
  // Read once the visits are locked: whoever held them may have changed what is known.
  const [everybody, pending] = await Promise.all([tx.patients.byPhone(phone), Promise.all(talks.map((booking) => tx.offers.pending(booking.id)))])
  const offers = pending.flatMap((offer) => (offer?.state === 'open' ? [{ bookingId: offer.bookingId, instants: offer.choices.map(({ at }) => at) }] : []))
  const patients = everybody.filter(({ clinicId }) => clinicId === clinic.id)
  return {
    ...{ reply, clinic, patients, everybody, offers },
    visits: nearestFirst(talks, patients, clinic),
    pendingQuestion: thread?.pendingQuestion ?? null,
    ...saidBefore(recent, receivedAt),
  }
}

/** What had been said when the text was written: what it may answer, and what it may quote. */
function saidBefore(recent: readonly Message[], receivedAt: Date): Pick<Conversation, 'lastAsked' | 'said'> {
  const before = recent.filter(({ state, sentAt }) => SENT_STATES.includes(state) && (sentAt === null || sentAt <= receivedAt))
  const last = before.at(-1)
  return { lastAsked: last && ASKS[last.kind], said: before.flatMap(({ text }) => text ?? []) }
}

async function addresseeAmong(tx: Tx, deps: Deps, { phone, receivedAt }: ReplyRecord, known: readonly Patient[]): Promise<string | null> {
  const clinics = new Set(known.map(({ clinicId }) => clinicId))
  if (clinics.size <= 1) return known[0]?.clinicId ?? null
  const from = new Date(deps.clock.now().getTime() - STILL_ABOUT_MS)
  const [wrote, visits] = await Promise.all([
    tx.messages.writers(phone, receivedAt),
    tx.bookings.list({ patientIds: known.map(({ id }) => id), from, state: 'booked', limit: 20 }),
  ])
  return addresseeOf(wrote, visits.map(({ clinicId, visitAt }) => ({ clinicId, at: visitAt })), receivedAt) // prettier-ignore
}

function lockVisitsOf(tx: Tx, deps: Deps, known: readonly Patient[], clinic: Clinic): Promise<Booking[]> {
  const ids = known.filter(({ clinicId }) => clinicId === clinic.id).map(({ id }) => id)
  return lockVisits(tx, deps, ids, new Date(deps.clock.now().getTime() - STILL_ABOUT_MS))
}

/** The nearest visit first. */
function nearestFirst(visits: readonly Booking[], patients: readonly Patient[], clinic: Clinic): VisitContext[] {
  const talks = visits.flatMap((booking): VisitContext[] => {
    const patient = patients.find(({ id }) => id === booking.patientId)
    return patient ? [{ booking, patient, clinic }] : []
  })
  return talks.sort((a, b) => a.booking.visitAt.getTime() - b.booking.visitAt.getTime())
}

/** Answers a number as such: about its nearest visit, if it has one. */
export async function sayToNumber(tx: Tx, deps: Deps, hearing: Conversation, kind: TextKind): Promise<void> {
  const { clinic } = hearing
  const patient = hearing.visits[0]?.patient ?? hearing.patients[0]
  if (patient && clinic) await answer(tx, deps, hearing, { patient, clinic, booking: hearing.visits[0]?.booking ?? null }, kind)
}

/** Answers at most so many times a day: two machines must not talk to each other for ever. */
export async function answer(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  about: { booking: Booking | null; patient: Patient; clinic: Clinic },
  kind: TextKind,
  facts: Parameters<typeof newAnswer>[3] = {},
): Promise<void> {
  if (await answeredEnough(tx, deps, hearing)) return
  await tx.messages.insert([newAnswer(deps, about, kind, facts)])
}

export async function answeredEnough(tx: Tx, deps: Deps, { reply }: Conversation): Promise<boolean> {
  const since = new Date(deps.clock.now().getTime() - DAY_MS)
  return (await tx.messages.countAnswers(reply.phone, since)) >= deps.policy.answersADay
}
