import type { Generated } from 'kysely'

/** One sender's schedule: how many pieces of news came, and when the last did. */
export interface FeedTable {
  name: string
  arrivals: Generated<string>
  heard_at: Date | null
  /** Up to when a server was asked for what it changed. */
  polled_to: Date | null
  made_at: Date | null
}

export interface FeedVisitTable {
  /** Keyed hash of the feed and the appointment's key. */
  id: string
  feed: string
  /** Keyed hash of the patient as told. */
  patient_print: string | null
  series_print: string
  sealed: string
  booking_id: string | null
  /** Of what is booked here. */
  clinic_id: string | null
  visit_at: Date | null
  /** A person must complete it. */
  waits: boolean
  follow_up_id: string | null
  changed_at: Date
}

export interface FeedPatientTable {
  id: string
  feed: string
  sealed: string
  changed_at: Date
}

export interface FeedAliasTable {
  id: string
  into_id: string
  feed: string
  sealed: string
  changed_at: Date
}

export type FeedSeriesTable = FeedPatientTable

export interface FeedSeenTable {
  id: string
  at: Date
}

export interface FeedDayTable {
  feed: string
  day: string
  does: string
  count: string
}

export interface FeedFaultTable {
  id: string
  feed: string
  at: Date
  does: string
  clinic_id: string | null
  sealed: string
}

export interface FeedCodeTable {
  feed: string
  part: string
  code: string
  ours: string
  at: Date
}

/** What a schedule is to be told, until it was. */
export interface FeedTellingTable {
  id: string
  feed: string
  booking_id: string
  sealed: string
  made_at: Date
  due_at: Date
  failures: Generated<number>
  ended_at: Date | null
  ended: 'told' | 'dropped' | null
}

/** A resource that its sender names by an address: only how often it was told, nothing of what it says. */
export interface FeedResourceTable {
  /** Keyed hash of the feed and the resource's address. */
  id: string
  feed: string
  version: number
  at: Date
  /** The row of the visit that it told of. */
  visit_id: string | null
  /** Keyed hashes of the appointment's numbers. */
  identifier_prints: string[]
  sealed: string
}

/** Appointments of which a patient wanted nothing kept: a keyed hash alone. */
export interface FeedErasedTable {
  id: string
}

export interface FeedTables {
  feed: FeedTable
  feed_visit: FeedVisitTable
  feed_patient: FeedPatientTable
  feed_alias: FeedAliasTable
  feed_series: FeedSeriesTable
  feed_seen: FeedSeenTable
  feed_day: FeedDayTable
  feed_fault: FeedFaultTable
  feed_code: FeedCodeTable
  feed_telling: FeedTellingTable
  feed_erased: FeedErasedTable
  feed_resource: FeedResourceTable
}
