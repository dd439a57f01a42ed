import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { Meaning, Reading } from '../../domain/replies/reading.ts'

export interface ReplyRecord {
  id: string
  /** Whose it is to read: the clinic that it was written to. Null = nobody's, so every clinic sees it. */
  clinicId: string | null
  gateway: string
  key: string
  phone: string
  text: string
  receivedAt: Date
  bookingId: string | null
  /** Who wrote it, where only one patient of the clinic can have. */
  patientId: string | null
  reading: Reading | null
  /** What Daysix did about it, in a word, e.g. `offer`; null = heard, and not yet acted on. */
  done: string | null
  /** A person read it otherwise: `reading` is theirs. */
  corrected?: { by: string; at: string; from: Meaning }
  /** What was known of her cycle before this reply changed it, so that a wrong reading can be taken back. */
  cycleBefore?: CycleHistory
}

/** What a clinic last asked a number and waits for, beyond open offers. */
export interface Thread {
  phone: string
  clinicId: string
  pendingQuestion: { bookingIds: string[]; reading: Reading; replyId: string; at: string } | null
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
  countFrom(phone: string, since: Date): Promise<number>
  /** Newest first: those about visits at a clinic, and those about no visit. Keyset page before a reply. */
  recent(query: { clinicId: string; before?: { receivedAt: Date; id: string }; limit: number }): Promise<ReplyRecord[]>
  thread(phone: string, clinicId: string): Promise<Thread | undefined>
  putThread(thread: Thread): Promise<void>
}
