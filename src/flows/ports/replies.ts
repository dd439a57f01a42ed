import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { Meaning, Reading } from '../../domain/replies/reading.ts'
import type { OfferReason } from '../../domain/visits/offer.ts'

export interface ReplyRecord {
  id: string
  /** Whose it is to read: the clinic that it was written to. Null = nobody's, so every clinic sees it. */
  clinicId: string | null
  gateway: string
  key: string
  phone: string
  text: string
  /** As hex, where the message could not be read: `text` says so, and no words are made of it. */
  octets?: string | undefined
  receivedAt: Date
  bookingId: string | null
  /** Who wrote it, where only one patient of the clinic can have. */
  patientId: string | null
  reading: Reading | null
  /** What Daysix did about it, in a word, e.g. `offer`; null = heard, and not yet acted on. */
  done: string | null
  /** A person read it otherwise: `reading` is theirs. */
  corrected?: { by: string; at: string; from: Meaning }
  /**
   * With `done` = `asked-which`: the visits put to the patient, in the order of their numbers, with their times as
   * told.
   */
  asked?: { bookingId: string; at: string }[] | undefined
  /** The earlier reply whose visit this one named. */
  answers?: string | undefined
  /** What acting on it changed. */
  did?: ReplyEffects | undefined
}

/** What acting on a reply changed, so that a correction takes back just this, and only where it still stands so. */
export interface ReplyEffects {
  /** The patient's cycle, and what was made of it. */
  cycle?: { before: CycleHistory; after: CycleHistory }
  confirmedAt?: string
  /** Words noted for the day sheet. */
  lapse?: string
  need?: string
  /** The offer that was made, or one of whose times was chosen. */
  offerId?: string
  /** Older offers that ended by it, for what visit time and why they had been made. */
  ended?: { bookingId: string; visitAt: string; reason: OfferReason }[]
  /** Patients reported dead, by id. */
  dead?: string[]
}

export interface ReplyRecords {
  /** Keeps it, unless this very text was kept before. @returns the one that is kept */
  keep(reply: ReplyRecord): Promise<ReplyRecord>
  update(reply: ReplyRecord): Promise<void>
  get(id: string): Promise<ReplyRecord | undefined>
  /** Locks the row until the transaction ends. */
  lock(id: string): Promise<ReplyRecord | undefined>
  /** Heard before this, and never acted on. */
  unacted(before: Date, limit: number): Promise<ReplyRecord[]>
  fromPhone(phone: string, since: Date): Promise<ReplyRecord[]>
  /** All there are, in order of their ids, after one. */
  page(afterId: string, limit: number): Promise<ReplyRecord[]>
  countFrom(phone: string, since: Date): Promise<number>
  /** Newest first: those about visits at a clinic, and those about no visit. Keyset page before a reply. */
  recent(query: { clinicId: string; before?: { receivedAt: Date; id: string }; limit: number }): Promise<ReplyRecord[]>
  /** The latest reply of a number to a clinic, received since, whose visit was asked for and is not yet named. */
  unanswered(phone: string, clinicId: string, since: Date): Promise<ReplyRecord | undefined>
  /** Replies of that kind received by then. */
  unansweredBefore(before: Date, limit: number): Promise<ReplyRecord[]>
}
