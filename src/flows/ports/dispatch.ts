import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Message } from '../../domain/messages/message.ts'
import type { CountedConsent } from '../../domain/patients/consent.ts'
import type { Refusal } from '../../domain/replies/decide-for-number.ts'
import type { Receipt } from './gateway.ts'
import type { SendJob } from './jobs.ts'
import type { Pipelined } from './pipelined.ts'

/** What is noted once somebody has looked whether a question was answered. */
export const QUESTION_SETTLED = 'question-settled'

/** Everything that decides whether messages may go, read at once for many of them. */
export interface DispatchContext {
  bookings: ReadonlyMap<string, Booking>
  patients: ReadonlyMap<string, Patient>
  clinics: ReadonlyMap<string, Clinic>
  /** Offers that wait for an answer, by booking, of messages that speak of one. */
  offers: ReadonlyMap<string, Offer>
  /** Visits about which it was asked whether a period has begun, of messages that ask again. */
  asked: ReadonlySet<string>
  /** What was agreed to, by patient. */
  consents: ReadonlyMap<string, readonly CountedConsent[]>
  /** Numbers that want nothing, and why. */
  refusals: ReadonlyMap<string, Refusal>
  /** Unsolicited ones sent or being sent to these numbers lately. */
  lately: readonly { phone: string; id: string; at: Date }[]
  /** Numbers that are being called, by whichever worker, and for which message. */
  calling: ReadonlyMap<string, string>
}

/** What sending and sweeping need of the messages, many at a time: the traffic of a country goes through here. */
export interface DispatchRecords {
  /** Planned messages due before `until`, marked queued. */
  enqueueDue(until: Date, limit: number): Promise<SendJob[]>
  /**
   * Locks those of these that still wait, are due and belong to the same plan, and keeps every other claim and every
   * opt-out of their numbers waiting until this transaction ends. One that somebody else is just changing is left out.
   */
  due(jobs: readonly Pick<SendJob, 'messageId' | 'revision'>[], now: Date): Promise<Message[]>
  context(messages: readonly Message[], since: Date, now: Date): Promise<DispatchContext>
  /** Moves locked ones to `sending`, one attempt more, with the words that are about to leave. */
  claim(claims: readonly { message: Message; text: string }[], workerId: string, now: Date): Pipelined
  /** Writes down acceptances of these very attempts; the ids it was true for. */
  accept(facts: readonly { id: string; attempt: number; ref: string | null }[], at: Date): Promise<string[]>
  /** Receipts that came before their message's reference was known. */
  takeEarlyReceipts(refs: readonly { gateway: string; ref: string }[]): Promise<Receipt[]>
  /** Waiting ones whose time has come, at one clinic or at all (null), whether or not sending is stopped. */
  dueIn(clinicId: string | null, now: Date, limit: number): Promise<Message[]>
  /** Queued ones whose time has passed without a job, oldest first; none of a clinic whose sending is stopped. */
  overdue(before: Date, limit: number): Promise<SendJob[]>
  /** Waiting ones that have become worthless. */
  worthless(now: Date, limit: number): Promise<Message[]>
  /** Claims of processes that are gone. */
  stuck(limit: number): Promise<Message[]>
  claimedBy(workerId: string): Promise<Message[]>
  /**
   * Preparation sent but not known to be delivered, sent before `sentBefore` or with its mark before `markBefore`;
   * `silent` gateways never say.
   */
  undelivered(sentBefore: Date, markBefore: Date, silent: readonly string[], limit: number): Promise<Message[]>
  /** E-mails that matter, sent before an instant or worthless soon, of which nobody has said that they were read. */
  unread(sentBefore: Date, markBefore: Date, limit: number): Promise<Message[]>
  /** Early receipts whose message is known by now: the receipt and the record of its reference crossed. */
  crossedReceipts(limit: number): Promise<{ gateway: string; ref: string; messageId: string }[]>
  /**
   * Visits to come about which it was last asked, within this interval, whether a period has begun, and of which
   * nothing has been noted since under `QUESTION_SETTLED`.
   */
  askedLately(within: { from: Date; to: Date }, now: Date, limit: number): Promise<{ bookingId: string; at: Date }[]>
  figures(now: Date): Promise<Figures>
}

/** How things stand, for whoever watches over the service. */
export interface Figures {
  overdue: number
  oldestSeconds: number
  claimed: number
  workers: number
  /** Open follow-ups by urgency. */
  followUps: ReadonlyMap<number, number>
}

/**
 * The processes that send. Their silence is measured by the database's clock, so that no process's own clock matters.
 */
export interface WorkerRecords {
  /**
   * It lives.
   * @param offsetMs by how much its machine's clock is ahead of the database's; null = not known
   * @returns how many others live whose clocks are right
   */
  beat(id: string, offsetMs?: number | null): Promise<number>
  /**
   * Makes sure that it is known, in the transaction that claims: a claim of a stranger would be taken for one left
   * behind.
   */
  ensure(id: string): Pipelined
  /** Says good-bye: what it may have left behind is looked after at once. */
  leave(id: string): Promise<void>
  forgetSilent(seconds: number): Promise<number>
  /** Forgets all others, where there can be no other process. */
  forgetOthers(id: string): Promise<void>
}
