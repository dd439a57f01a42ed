import type { Because, OutcomeKind } from '../../domain/visits/outcome.ts'
import type { Purpose } from '../../domain/visits/purpose.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { Generated } from 'kysely'
import type { FeedTables } from './feed.tables.ts'
import type { NearMissTable } from './near-miss.table.ts'
import type { LongReplyTable, SentPartTable } from './gateway-memory.tables.ts'
import type { FigureSampleTable, WorkerTable } from './worker.tables.ts'

/** Rows as the database has them; the record modules map them to the domain's types, once each. */
export interface ClinicTable {
  id: string
  name: string
  phone: string
  zone: string
  country: string
  settings: string
}

export interface PatientTable {
  id: string
  clinic_id: string
  phone_print: string
  language: string
  channel: Channel
  detail: 'full' | 'discreet'
  sealed: string
  /** Keyed hashes of what she can be found by; null = not made yet. */
  words: string[] | null
}

export interface ConsentTable {
  id: Generated<string>
  patient_id: string
  channel: Channel
  /** As older versions wrote it. */
  recorded_by: string | null
  recorded_at: Date
  wording: string | null
  sealed: string | null
  withdrawn_at: Date | null
  until: string | null
  given_by: 'patient' | 'receiver'
}

export interface OptOutTable {
  phone_print: string
  at: Date
  reason: 'stop' | 'wrong-person'
}

export interface BookingTable {
  id: string
  patient_id: string
  clinic_id: string
  clinician: string
  protocol: string
  visit_at: Date
  zone: string
  state: 'booked' | 'cancelled'
  plan_revision: number
  plan_basis: string
  confirmed_at: Date | null
  short_notice: boolean
  sealed_lapses: string | null
  created_at: Date
  first_visit_at: Date
  moves: number
  purpose: Purpose
  due_by: string | null
  sealed_needs: string | null
  outcome: OutcomeKind | null
  /** As older versions wrote it; so is `outcome_by`. */
  outcome_because: Because | null
  outcome_at: Date | null
  outcome_by: string | null
  sealed_outcome: string | null
  minutes: number
}

export interface SlotTable {
  id: string
  clinic_id: string
  clinician: string
  starts_at: Date
  state: 'free' | 'held' | 'taken'
  booking_id: string | null
  held_until: Date | null
  minutes: number | null
  ends_at: Date | null
  overbooked: boolean
}

export interface OfferTable {
  id: string
  booking_id: string
  state: 'open' | 'waiting' | 'accepted' | 'declined' | 'lapsed' | 'overtaken'
  choices: string
  chosen: number | null
  made_at: Date
  until: Date
  reason: 'no-opening' | 'cannot-come'
}

export interface MessageTable {
  id: string
  booking_id: string | null
  patient_id: string | null
  clinic_id: string
  phone_print: string
  kind: string
  channel: string
  detail: string
  language: string
  revision: number | null
  unsolicited: boolean
  send_at: Date
  not_after: Date
  state: string
  attempt: number
  visit_at: Date | null
  gateway: string
  gateway_ref: string | null
  sealed: string
  claimed_at: Date | null
  claimed_by: string | null
  sent_at: Date | null
  ended_at: Date | null
  code: string | null
  fallback_of: string | null
  prompted: boolean
  by_hand: boolean
  confirms: boolean
}

export interface EarlyReceiptTable {
  gateway: string
  ref: string
  state: 'delivered' | 'undelivered'
  code: string | null
  at: Date
}

export interface ReplyTable {
  id: string
  gateway: string
  key: string
  phone_print: string
  sealed: string
  received_at: Date
  booking_id: string | null
  done: string | null
  clinic_id: string | null
  patient_id: string | null
}

/** When a clinic last heard a number, of the replies that are gone. */
export interface SignOfLifeTable {
  phone_print: string
  clinic_id: string
  seen_at: Date
}

export interface FollowUpTable {
  id: string
  reason: string
  urgency: number
  clinic_id: string | null
  booking_id: string | null
  patient_id: string | null
  sealed: string
  opened_at: Date
  closed_at: Date | null
  /** Of what Daysix closes itself, and as older versions wrote it. */
  closed_by: string | null
  outcome: string | null
  sealed_end: string | null
  phone_print: string | null
  reply_id: string | null
}

export interface EventTable {
  id: Generated<string>
  at: Date
  booking_id: string | null
  what: string
  /** As older versions wrote it. */
  by: string | null
  facts: string | null
  sealed: string | null
}

export interface IdempotencyTable {
  key: string
  request_hash: string
  status: number
  sealed: string
  at: Date
}

/** Who approved which words; other words of the same text are another row. */
export interface TextApprovalTable {
  language: string
  key: string
  digest: string
  approved_by: string
  approved_on: string
  recorded_at: Date
}

export interface Tables extends FeedTables {
  clinic: ClinicTable
  patient: PatientTable
  consent: ConsentTable
  opt_out: OptOutTable
  booking: BookingTable
  slot: SlotTable
  offer: OfferTable
  message: MessageTable
  worker: WorkerTable
  figure_sample: FigureSampleTable
  early_receipt: EarlyReceiptTable
  reply: ReplyTable
  long_reply: LongReplyTable
  sent_part: SentPartTable
  sign_of_life: SignOfLifeTable
  follow_up: FollowUpTable
  happening: EventTable
  idempotency: IdempotencyTable
  text_approval: TextApprovalTable
  near_miss: NearMissTable
}
