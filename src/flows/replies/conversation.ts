import { isOver } from '../../domain/visits/over.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import { addresseeOf } from '../../domain/replies/addressee.ts'
import { SENT_STATES, type Message } from '../../domain/messages/message.ts'
import type { Question } from '../../domain/replies/reading.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import { lockVisits } from '../patients/follow-patient.ts'
import type { FollowUpSubject } from '../calls/follow-ups.ts'
import type { Deps, ReplyEffects, ReplyRecord, Tx } from '../ports/deps.ts'
import { newAnswer } from '../messages/new-message.ts'
import type { VisitContext } from '../visit-context.ts'

const DAY_MS = 86_400_000
const WEEK_MS = 7 * DAY_MS
/** So long a number is taken for the answer to "Which visit do you mean?". Judgement, no source. */
export const ANSWERED_WITHIN_MS = DAY_MS
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
  /** An earlier reply, of the last day, whose visit was asked for: a number names it. */
  pendingQuestion: ReplyRecord | null
  /** What the last thing said asked for. */
  lastAsked: Question | undefined
  /** What the clinic said to the number lately, in its words: a phone may quote it back. */
  said: string[]
  /** Offers of these visits that wait for a number, or for the desk. */
  offers: Offer[]
}

/** What came of a reply: the visit it was about, a word for what was done, and what else is kept with it. */
export type Done = { bookingId: string | null; done: string } & Pick<ReplyRecord, 'did' | 'asked' | 'answers'>

const LONGEST_WORDS = 300

/** The patient's words stand beside the visit: of a lapse, or of what is to be arranged. */
export async function noteWords(
  tx: Tx,
  booking: Booking,
  { text }: ReplyRecord,
  where: 'lapses' | 'needs',
): Promise<{ booking: Booking; words: string }> {
  const words = text.slice(0, LONGEST_WORDS)
  const noted = { ...booking, [where]: [...booking[where], words] }
  await tx.bookings.update(noted)
  return { booking: noted, words }
}

/** What the desk reads beside a call that a reply opened; by its id a correction finds the call again. */
export function becauseOf({ id, text }: ReplyRecord): { words: string; reply: string } {
  return { words: text, reply: id }
}

/**
 * What is known of whoever wrote. The visits stay locked until the transaction ends, so that the desk cannot move one
 * meanwhile.
 * @param besides a patient whom the reply was about, who may be reached at another number by now
 */
export async function loadConversation(
  tx: Tx,
  deps: Deps,
  heard: ReplyRecord,
  besides?: string,
): Promise<Conversation> {
  const { phone, receivedAt } = heard
  const [, known] = await Promise.all([tx.patients.lockNumber(phone), peopleAt(tx, phone, besides)])
  const reply = { ...heard, clinicId: heard.clinicId ?? (await addresseeAmong(tx, deps, heard, known)) }
  const clinic = reply.clinicId === null ? undefined : await tx.clinics.get(reply.clinicId)
  if (!clinic) return { ...NOTHING_SAID, reply, clinic: null, patients: [], everybody: known }
  const since = new Date(deps.clock.now().getTime() - ANSWERED_WITHIN_MS)
  const [pendingQuestion, recent, visits] = await Promise.all([
    tx.replies.unanswered(phone, clinic.id, since),
    tx.messages.toPhone(phone, clinic.id, new Date(receivedAt.getTime() - WEEK_MS)),
    lockVisitsOf(tx, deps, known, clinic),
  ])
  // Read once the visits are locked: whoever held them may have changed what is known.
  const [everybody, pending] = await Promise.all([
    peopleAt(tx, phone, besides),
    Promise.all(visits.map((booking) => tx.offers.pending(booking.id))),
  ])
  const patients = everybody.filter(({ clinicId }) => clinicId === clinic.id)
  return {
    ...{ reply: writtenBy(reply, patients), clinic, patients, everybody, pendingQuestion: pendingQuestion ?? null },
    offers: pending.filter((offer) => offer !== undefined),
    visits: nearestFirst(visits, patients, clinic),
    ...saidBefore(recent, receivedAt),
  }
}

/** Where several share the number there is no telling. */
function writtenBy(reply: ReplyRecord, patients: readonly Patient[]): ReplyRecord {
  const only = patients.length === 1 ? patients[0]!.id : null
  return { ...reply, patientId: reply.patientId ?? only }
}

const NOTHING_SAID = { visits: [], pendingQuestion: null, lastAsked: undefined, said: [], offers: [] }

async function peopleAt(tx: Tx, phone: string, besides: string | undefined): Promise<Patient[]> {
  const there = await tx.patients.byPhone(phone)
  const other =
    besides === undefined || there.some(({ id }) => id === besides) ? undefined : await tx.patients.get(besides)
  return other ? [...there, other] : there
}

/** After "a person will read your message", or an answer to a question, what was asked before still waits. */
function leavesOpen(kind: TextKind): boolean {
  const { about, asks } = MESSAGE_KINDS[kind]
  return asks === null && (about === 'number' || about === 'words')
}

/** What had been said when the text was written: what it may quote, and, where that arrived, what it may answer. */
function saidBefore(recent: readonly Message[], receivedAt: Date): Pick<Conversation, 'lastAsked' | 'said'> {
  const before = recent.filter(
    ({ state, sentAt }) => SENT_STATES.includes(state) && (sentAt === null || sentAt <= receivedAt),
  )
  const last = before.findLast(({ kind, state }) => state !== 'undelivered' && !leavesOpen(kind))
  return {
    lastAsked: last && (MESSAGE_KINDS[last.kind].asks ?? undefined),
    said: before.flatMap(({ text }) => text ?? []),
  }
}

async function addresseeAmong(
  tx: Tx,
  deps: Deps,
  { phone, receivedAt }: ReplyRecord,
  known: readonly Patient[],
): Promise<string | null> {
  const clinics = new Set(known.map(({ clinicId }) => clinicId))
  if (clinics.size <= 1) return known[0]?.clinicId ?? null
  const from = new Date(deps.clock.now().getTime() - STILL_ABOUT_MS)
  const [wrote, visits] = await Promise.all([
    tx.messages.writers(phone, receivedAt),
    tx.bookings.list({ patientIds: known.map(({ id }) => id), from, state: 'booked', limit: 20 }),
  ])
  return addresseeOf(
    wrote,
    visits.map(({ clinicId, visitAt }) => ({ clinicId, at: visitAt })),
    receivedAt,
  )
}

/** Of visits that have ended nothing more is said. */
async function lockVisitsOf(tx: Tx, deps: Deps, known: readonly Patient[], clinic: Clinic): Promise<Booking[]> {
  const ids = known.filter(({ clinicId }) => clinicId === clinic.id).map(({ id }) => id)
  const locked = await lockVisits(tx, deps, ids, new Date(deps.clock.now().getTime() - STILL_ABOUT_MS))
  return locked.filter((visit) => visit.outcome === null && !isOver(visit, deps.clock.now()))
}

/** The nearest visit first. */
function nearestFirst(visits: readonly Booking[], patients: readonly Patient[], clinic: Clinic): VisitContext[] {
  const talks = visits.flatMap((booking): VisitContext[] => {
    const patient = patients.find(({ id }) => id === booking.patientId)
    return patient ? [{ booking, patient, clinic }] : []
  })
  return talks.sort((a, b) => a.booking.visitAt.getTime() - b.booking.visitAt.getTime())
}

/** Of the offers that there were, those whose place something else has taken since. */
export async function endedOffers(
  tx: Tx,
  { offers, visits }: Conversation,
): Promise<NonNullable<ReplyEffects['ended']>> {
  const now = await Promise.all(offers.map(({ id }) => tx.offers.get(id)))
  return now
    .filter((offer) => offer?.state === 'overtaken')
    .map((offer) => {
      const { bookingId, reason } = offer!
      const visitAt = visits.find(({ booking }) => booking.id === bookingId)!.booking.visitAt.toISOString()
      return { bookingId, visitAt, reason }
    })
}

/** Whom a reply as such is about: the nearest visit, where there is one. */
export function nearest({ clinic, visits, patients, reply }: Conversation): FollowUpSubject {
  const [visit] = visits
  return { clinic, patient: visit?.patient ?? patients[0] ?? null, booking: visit?.booking ?? null, phone: reply.phone }
}

/** Answers a number as such. @returns false where it had as many answers as it gets, or nobody is known there */
export async function sayToNumber(tx: Tx, deps: Deps, hearing: Conversation, kind: TextKind): Promise<boolean> {
  const { clinic, patient, booking } = nearest(hearing)
  return patient !== null && clinic !== null && answer(tx, deps, hearing, { patient, clinic, booking }, kind)
}

/**
 * Answers at most so many times a day: two machines must not talk to each other for ever.
 * @returns false where the number had as many: then a person must answer
 */
export async function answer(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  about: { booking: Booking | null; patient: Patient; clinic: Clinic },
  kind: TextKind,
  facts: Parameters<typeof newAnswer>[3] = {},
): Promise<boolean> {
  if (await answeredEnough(tx, deps, hearing)) return false
  await tx.messages.insert([newAnswer(deps, about, kind, facts)])
  return true
}

/** Each clinic's answers count for themselves: what one says must not silence another. */
export async function answeredEnough(tx: Tx, deps: Deps, { reply, clinic }: Conversation): Promise<boolean> {
  const since = new Date(deps.clock.now().getTime() - DAY_MS)
  return clinic !== null && (await tx.messages.countAnswers(reply.phone, clinic.id, since)) >= deps.policy.answersADay
}
