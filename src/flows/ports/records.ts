import type { Booking } from '../../domain/visits/booking.ts'
import type { OfferState, Offer } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import type { Message, MessageState } from '../../domain/messages/message.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { Refusal } from '../../domain/replies/decide.ts'
import type { ApprovalRecords } from './approvals.ts'
import type { DispatchRecords, WorkerRecords } from './dispatch.ts'
import type { Receipt } from './gateway.ts'
import type { ReplyRecords } from './replies.ts'

export interface ClinicRecords {
  get(id: string): Promise<Clinic | undefined>
  list(): Promise<Clinic[]>
  put(clinic: Clinic): Promise<void>
}

/** What may change about a patient. */
export type PatientFacts = Partial<Omit<Patient, 'id' | 'clinicId'>>

export interface PatientRecords {
  get(id: string): Promise<Patient | undefined>
  many(ids: readonly string[]): Promise<Patient[]>
  /** Whoever is reached at this number, at every clinic. */
  byPhone(phone: string): Promise<Patient[]>
  /** Ids of a clinic's patients that can be found by every one of these (see `lookedFor`), newest first. */
  search(words: readonly string[], clinicId: string, limit: number): Promise<string[]>
  /**
   * Until the transaction ends nobody else decides about this number: books it, hears it, or claims
   * messages to it. Before any patient or visit is locked.
   */
  lockNumber(phone: string): Promise<void>
  /** Locks these, in order of their ids, until the transaction ends. Before any visit is locked. */
  lock(ids: readonly string[]): Promise<void>
  /** `lockNumber`, then locks this clinic's patients there. @returns them, by id */
  lockAt(phone: string, clinicId: string): Promise<Patient[]>
  insert(patient: Patient): Promise<void>
  /**
   * Changes these facts of a patient alone, under a lock: what somebody else has changed meanwhile
   * stays.
   * @returns the patient as is from now on. @throws not-found
   */
  update(id: string, facts: PatientFacts): Promise<Patient>
  consents(patientId: string): Promise<Consent[]>
  addConsent(patientId: string, consent: Consent): Promise<void>
  /** @param channel null = every one. @returns how many */
  withdrawConsents(patientId: string, channel: Channel | null, at: Date): Promise<number>
}

/** A number that wants no messages: somebody there said so, or that the patient is somebody else. Valid for every clinic. */
export interface OptOut {
  at: Date
  reason: Refusal
}

export interface OptOutRecords {
  has(phone: string): Promise<boolean>
  get(phone: string): Promise<OptOut | undefined>
  count(): Promise<number>
  /** Where there is one already, it stays; only that the number is somebody else's is added to it. */
  add(phone: string, reason: OptOut['reason'], at: Date): Promise<void>
  remove(phone: string): Promise<void>
}

export interface BookingQuery {
  clinicId?: string
  /** Visits within this half-open interval. */
  from?: Date
  to?: Date
  state?: Booking['state']
  patientIds?: string[]
  /** Latest visit first, instead of earliest. */
  newestFirst?: boolean
  /** Keyset page: visits after this one, in order of time and id. */
  after?: { visitAt: Date; id: string }
  limit: number
}

export interface BookingRecords {
  /** Visits to come whose plan was made by another content of this protocol. */
  plannedOtherwise(protocol: string, digest: string, after: Date, limit: number): Promise<Booking[]>
  get(id: string): Promise<Booking | undefined>
  /** Locks the row until the transaction ends. */
  lock(id: string): Promise<Booking | undefined>
  /**
   * Locks booked visits from an instant on, in order of their ids, until the transaction ends: those
   * of these patients, or of a clinic's patients at a number.
   * @returns them, as they are once they are locked
   */
  lockToCome(
    whose: { patientIds: readonly string[] } | { phone: string; clinicId: string },
    from: Date,
  ): Promise<Booking[]>
  list(query: BookingQuery): Promise<Booking[]>
  many(ids: readonly string[]): Promise<Booking[]>
  /** Booked visits of a clinic by local date, for dates that have any. */
  countByDay(query: { clinicId: string; from: Date; to: Date; zone: string }): Promise<{ date: string; visits: number }[]>
  insert(booking: Booking): Promise<void>
  update(booking: Booking): Promise<void>
}

export interface SlotQuery {
  clinicId: string
  from: Date
  to?: Date
  states?: Slot['state'][]
  limit: number
}

/** Every time at a clinic that is free, held or taken is one row, unique by clinic, clinician and instant: so nothing can be had twice. */
export interface SlotRecords {
  list(query: SlotQuery): Promise<Slot[]>
  /** Adds a free opening; false when that time exists already. */
  add(slot: Slot): Promise<boolean>
  /** Removes a free opening; false when it is gone, held or taken. */
  remove(id: string, now: Date): Promise<boolean>
  /** Takes a time for a booking, creating it where it does not exist; false when somebody else has or holds it. */
  take(slot: Pick<Slot, 'id' | 'clinicId' | 'clinician' | 'startsAt'>, bookingId: string, now: Date): Promise<boolean>
  /** Takes an existing opening that is free or held for this booking. */
  takeHeld(id: string, bookingId: string, now: Date): Promise<Slot | undefined>
  /** Holds a free opening; false when somebody was quicker. */
  hold(id: string, bookingId: string, until: Date, now: Date): Promise<boolean>
  /** Frees what this booking occupies at that instant. */
  free(bookingId: string, startsAt: Date): Promise<void>
  /** Lets go of every opening held for this booking. */
  release(bookingId: string): Promise<void>
  releaseExpired(now: Date): Promise<number>
}

export interface OfferRecords {
  get(id: string): Promise<Offer | undefined>
  /** The offer that still wants an answer from her or the desk. */
  pending(bookingId: string): Promise<Offer | undefined>
  insert(offer: Offer): Promise<void>
  /** Conditional move; false when the offer is no longer in `from`. */
  move(id: string, from: OfferState[], to: OfferState, facts?: { chosen?: number; until?: Date }): Promise<boolean>
  lapsing(now: Date, limit: number): Promise<Offer[]>
}

/** How things stand with messages. Figures only. */
export interface MessageFigures {
  /** Waiting or under way, by state; `more` where counting has stopped there. */
  waiting: { state: MessageState; count: number; more: boolean }[]
  /** Send time of the oldest message that should have gone by now; null when none is late. */
  oldestDue: Date | null
  /** What ended badly since, by gateway and code, most frequent first. */
  troubles: { gateway: string; code: string; count: number; last: Date }[]
}

export interface MessageRecords {
  get(id: string): Promise<Message | undefined>
  /** Locks the row until the transaction ends. */
  lock(id: string): Promise<Message | undefined>
  insert(messages: readonly Message[]): Promise<void>
  ofBooking(bookingId: string): Promise<Message[]>
  ofBookings(bookingIds: readonly string[]): Promise<Message[]>
  /** A receipt that came before its message's reference was known; matched when that is recorded. */
  keepEarlyReceipt(receipt: Receipt): Promise<void>
  /** Everything a clinic said to a number since, newest last. */
  toPhone(phone: string, clinicId: string, since: Date): Promise<Message[]>
  /** Clinics whose messages have reached a number, and when the last was sent, latest first; not what a page or a call answered. */
  writers(phone: string, until: Date): Promise<{ clinicId: string; at: Date }[]>
  /** A patient's unsent messages that belong to no plan. */
  unplanned(patientId: string): Promise<Message[]>
  /** How many answers of a clinic to what was written to it a number got, or will get, since. */
  countAnswers(phone: string, clinicId: string, since: Date): Promise<number>
  /** Instants of unsolicited messages to a patient, sent since or still to come, other than this booking's unsent ones. */
  unsolicitedTo(phone: string, since: Date, exceptUnsentOf: string | null): Promise<Date[]>
  /** Conditional move with its facts; false when the message is no longer in one of `from`. */
  move(id: string, from: readonly MessageState[], to: MessageState, facts?: Partial<Message>): Promise<boolean>
  byRef(gateway: string, ref: string): Promise<Message | undefined>
  figures(now: Date, since: Date): Promise<MessageFigures>
  /** `plan`: the planned messages of a visit. `phone`: everything to a number. `patient`: everything to a patient. */
  withdrawUnsent(where: { plan: string } | { phone: string } | { patient: string }, code: string, now: Date): Promise<number>
}

export interface FollowUpQuery {
  clinicId?: string
  /** With `clinicId`: also those that belong to no clinic. */
  unplacedToo?: boolean
  open?: boolean
  bookingId?: string
  bookingIds?: string[]
  /** The number that they are about. */
  phone?: string
  /** Those that were opened on this reply. */
  replyId?: string
  limit: number
}

export interface FollowUpRecords {
  get(id: string): Promise<FollowUp | undefined>
  list(query: FollowUpQuery): Promise<FollowUp[]>
  insert(followUp: FollowUp): Promise<void>
  /** Newest first, with those of no clinic. */
  recentlyClosed(clinicId: string, since: Date, limit: number): Promise<FollowUp[]>
  countOpen(clinicId: string): Promise<number>
  /** Writes its detail anew; closing has its own conditional move. */
  update(followUp: FollowUp): Promise<void>
  /** False when it is open, or was closed before that. */
  reopen(id: string, closedSince: Date): Promise<boolean>
  /** False when it was closed already. */
  close(id: string, by: string, outcome: string, at: Date): Promise<boolean>
  /** Closes open ones of these reasons whose visit began within this interval. @returns how many */
  closePast(reasons: readonly FollowUpReason[], began: { from: Date; to: Date }, outcome: string, at: Date): Promise<number>
}

/** What happened, for people who ask later. Ids and words of ours only. */
export interface VisitEvent {
  at: Date
  bookingId: string | null
  what: string
  by: string
  facts: Record<string, unknown>
}

export interface EventRecords {
  add(happening: VisitEvent): Promise<void>
  ofBooking(bookingId: string): Promise<VisitEvent[]>
}

export interface KeptAnswer {
  key: string
  requestHash: string
  status: number
  body: unknown
}

export interface IdempotencyRecords {
  get(key: string): Promise<KeptAnswer | undefined>
  put(answer: KeptAnswer, at: Date): Promise<void>
  /** Forgets answers given before. */
  forget(before: Date): Promise<void>
}

/** All records, within one transaction or, for reads, outside any. */
export interface Records {
  approvals: ApprovalRecords
  clinics: ClinicRecords
  patients: PatientRecords
  optOuts: OptOutRecords
  bookings: BookingRecords
  slots: SlotRecords
  offers: OfferRecords
  messages: MessageRecords
  dispatch: DispatchRecords
  workers: WorkerRecords
  replies: ReplyRecords
  followUps: FollowUpRecords
  events: EventRecords
  idempotency: IdempotencyRecords
}
