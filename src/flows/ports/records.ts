import type { Booking } from '../../domain/visits/booking.ts'
import type { OfferState, Offer } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Message, MessageState } from '../../domain/messages/message.ts'
import type { NumberSigns } from '../../domain/patients/changed-hands.ts'
import type { ApprovalRecords } from './approvals.ts'
import type { DispatchRecords, WorkerRecords } from './dispatch.ts'
import type { FollowUpRecords } from './follow-ups.ts'
import type { Receipt } from './gateway.ts'
import type { NearMissRecords } from './near-misses.ts'
import type { OptOutRecords, PatientRecords } from './patients.ts'
import type { IdempotencyRecords } from './idempotency.ts'
import type { Pipelined } from './pipelined.ts'
import type { FeedRecords } from './schedule.ts'
import type { ReplyRecords } from './replies.ts'
import type { StandingRecords } from './standing.ts'

export interface ClinicRecords {
  get(id: string): Promise<Clinic | undefined>
  list(): Promise<Clinic[]>
  put(clinic: Clinic): Promise<void>
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
  /** Visits to come whose protocol is none of these, by protocol, with when and where the next is. */
  needingOther(
    protocols: readonly string[],
    after: Date,
  ): Promise<{ protocol: string; visits: number; next: Date; zone: string }[]>
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
  countByDay(query: {
    clinicId: string
    from: Date
    to: Date
    zone: string
  }): Promise<{ date: string; visits: number }[]>
  insert(booking: Booking): Pipelined
  update(booking: Booking): Promise<void>
}

export interface SlotQuery {
  clinicId: string
  from: Date
  to?: Date
  states?: Slot['state'][]
  /** Only those that this visit could have, as far as who else is there at that time. */
  fits?: { visit: Occupant; now: Date }
  /** Free ones only where nobody is with the clinician as they begin, at this instant of asking. */
  notBusy?: Date
  limit: number
}

export type NewTime = Pick<Slot, 'id' | 'clinicId' | 'clinician' | 'startsAt'>

/** Whoever occupies a time, and for how long. */
export type Occupant = Pick<Booking, 'id' | 'minutes'>

/**
 * Every time at a clinic that is free, held or taken is one row, unique by clinic, clinician and instant, and of those
 * that are held or taken no two of one clinician overlap: so nothing can be had twice. What the desk overbooks on
 * purpose is a row beside.
 */
export interface SlotRecords {
  list(query: SlotQuery): Promise<Slot[]>
  /** Adds free openings. @returns the ids of those whose time did not exist before */
  add(slots: readonly Slot[]): Promise<Set<string>>
  /** Removes a free opening; false when it is gone, held or taken. */
  remove(id: string, now: Date): Promise<boolean>
  /**
   * Takes a time for a visit, creating it where it does not exist; false when somebody else has or holds it, or the
   * clinician is busy with somebody else for some of it.
   */
  take(slot: NewTime, visit: Occupant, now: Date): Promise<boolean>
  /** Whether `take` would find the clinician busy, or the time held or taken. */
  isBusy(time: Omit<NewTime, 'id'>, visit: Occupant, now: Date): Promise<boolean>
  /** Takes a time all the same, beside whoever has it. */
  takeBeside(slot: NewTime, visit: Occupant): Promise<void>
  /** Takes an existing opening that is free or held for this visit. */
  takeHeld(id: string, visit: Occupant, now: Date): Promise<Slot | undefined>
  /** Holds a free opening; false when somebody was quicker. */
  hold(id: string, visit: Occupant, until: Date, now: Date): Promise<boolean>
  /** Frees what this booking occupies at that instant; a time that it overbooked goes. */
  free(bookingId: string, startsAt: Date): Promise<void>
  /** Lets go of every opening held for this booking. */
  release(bookingId: string): Promise<void>
  releaseExpired(now: Date): Promise<number>
}

export interface OfferRecords {
  get(id: string): Promise<Offer | undefined>
  /** The offer that still wants an answer from the patient or the desk. */
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
  insert(messages: readonly Message[]): Pipelined
  ofBooking(bookingId: string): Promise<Message[]>
  ofBookings(bookingIds: readonly string[]): Promise<Message[]>
  /** A receipt that came before its message's reference was known; matched when that is recorded. */
  keepEarlyReceipt(receipt: Receipt): Promise<void>
  /** Everything a clinic said to a number since, newest last. */
  toPhone(phone: string, clinicId: string, since: Date): Promise<Message[]>
  /**
   * Clinics whose messages have reached a number, and when the last was sent, latest first; not what a page or a call
   * answered.
   */
  writers(phone: string, until: Date): Promise<{ clinicId: string; at: Date }[]>
  /** A patient's unsent messages that belong to no plan. */
  unplanned(patientId: string): Promise<Message[]>
  /**
   * What a clinic has last seen of a number: heard from there, or delivered there; before an instant, or all of it
   * (null). What retention has removed counts too.
   */
  signsOf(phone: string, clinicId: string, before: Date | null): Promise<NumberSigns>
  /** How many answers of a clinic to what was written to it a number got, or will get, since. */
  countAnswers(phone: string, clinicId: string, since: Date): Promise<number>
  /**
   * Instants of unsolicited messages to a patient, sent since or still to come, other than this booking's unsent ones.
   */
  unsolicitedTo(phone: string, since: Date, exceptUnsentOf: string | null): Promise<Date[]>
  /** Conditional move with its facts; false when the message is no longer in one of `from`. */
  move(id: string, from: readonly MessageState[], to: MessageState, facts?: Partial<Message>): Promise<boolean>
  byRef(gateway: string, ref: string): Promise<Message | undefined>
  figures(now: Date, since: Date): Promise<MessageFigures>
  /** `plan`: the planned messages of a visit. `phone`: everything to a number. `patient`: everything to a patient. */
  withdrawUnsent(
    where: { plan: string } | { phone: string } | { patient: string },
    code: string,
    now: Date,
  ): Promise<number>
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
  add(happening: VisitEvent): Pipelined
  ofBooking(bookingId: string): Promise<VisitEvent[]>
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
  standing: StandingRecords
  replies: ReplyRecords
  followUps: FollowUpRecords
  events: EventRecords
  idempotency: IdempotencyRecords
  nearMisses: NearMissRecords
  feeds: FeedRecords
}
