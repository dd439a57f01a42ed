import type { Booking, Clinic, Patient } from '../domain/booking.ts'
import type { Question } from '../domain/replies/reading.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import type { Deps, ReplyRecord, Thread, Tx } from './ports.ts'
import { newAnswer } from './records-made.ts'

const DAY_MS = 86_400_000

/** One visit a reply may be about, with the people around it. */
export interface Talk {
  booking: Booking
  patient: Patient
  clinic: Clinic
}

/** Everything known when a text comes in. */
export interface Hearing {
  reply: ReplyRecord
  patients: Patient[]
  talks: Talk[]
  asked: NonNullable<Thread['asked']> | null
  /** What the last thing said asked for. */
  lastAsked: Question | undefined
  /** Bookings with an offer that waits for a number, with its instants. */
  offers: { bookingId: string; instants: Date[] }[]
}

/** What came of a reply: the visit it was about, and a word for what was done. */
export type Done = { bookingId: string | null; done: string }

/** Answers a number as such: about its nearest visit, if it has one. */
export async function sayToNumber(tx: Tx, deps: Deps, hearing: Hearing, kind: TextKind): Promise<void> {
  const patient = hearing.talks[0]?.patient ?? hearing.patients[0]
  const clinic = hearing.talks[0]?.clinic ?? (await lastClinic(tx, hearing))
  if (patient && clinic) await answer(tx, deps, hearing, { patient, clinic, booking: hearing.talks[0]?.booking ?? null }, kind)
}

/** Answers at most so many times a day: two machines must not talk to each other for ever. */
export async function answer(
  tx: Tx,
  deps: Deps,
  hearing: Hearing,
  about: { booking: Booking | null; patient: Patient; clinic: Clinic },
  kind: TextKind,
  facts: Parameters<typeof newAnswer>[3] = {},
): Promise<void> {
  if (await talkedEnough(tx, deps, hearing)) return
  await tx.messages.insert([newAnswer(deps, about, kind, facts)])
}

export async function talkedEnough(tx: Tx, deps: Deps, { reply }: Hearing): Promise<boolean> {
  const since = new Date(deps.clock.now().getTime() - DAY_MS)
  return (await tx.messages.countAnswers(reply.phone, since)) >= deps.policy.answersADay
}

/** The clinic of her last visit: it knows her, whichever clinic that was. */
async function lastClinic(tx: Tx, { patients }: Hearing): Promise<Clinic | undefined> {
  const patientIds = patients.map(({ id }) => id)
  const last = patientIds.length === 0 ? undefined : (await tx.bookings.list({ patientIds, newestFirst: true, limit: 1 }))[0]
  return last && tx.clinics.get(last.clinicId)
}
