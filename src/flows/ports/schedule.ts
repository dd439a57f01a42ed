import type { CheckLine } from '../../domain/schedule/check-line.ts'
import type { OurVisit } from '../../domain/schedule/our-visit.ts'
import type { Known } from '../../domain/schedule/known.ts'
import type { Asking } from '../../domain/schedule/telling.ts'
import type { Needs } from '../../domain/schedule/needs.ts'

/** What is known of a feed's schedule, as far as some news needs it, with what it is here. */
export interface KnownHere {
  known: Known
  /** Their visits → the bookings that they are here. */
  bookings: Map<string, string>
  /** Their visits → the open call about them. */
  calls: Map<string, string>
  /** Their visits as they could not be carried out here: tried again only when they are told otherwise. */
  refused: Map<string, OurVisit>
  /** Visits that wait for a person. */
  waits: Set<string>
  /** Visits of which nothing may be kept: the patient wanted so. */
  erased: ReadonlySet<string>
}

/** Keys of what changed in a `KnownHere`, to be written. */
export interface Changed {
  visits: Set<string>
  patients: Set<string>
  aliases: Set<string>
  seriesEnds: Set<string>
  seen: Set<string>
}

export interface FeedFault {
  id: string
  at: Date
  does: 'hold' | 'refuse'
  clinicId: string | null
  /** The appointment, where the fault stood and why: no name, no number. */
  key: string
  why: string
}

/** How a feed stands. */
export interface FeedFigures {
  heardAt: Date | null
  /** When its sender made the newest piece of news, by the sender's own clock. */
  madeAt: Date | null
  /** Of each of the last days: what was done how often. */
  days: { day: string; does: CheckLine['does']; count: number }[]
  waiting: number
}

/** What somebody said a code of a feed means, beside its description. */
export interface FeedCode {
  feed: string
  part: FeedPart
  code: string
  ours: string
}

export type FeedPart = 'clinics' | 'languages'

/** A number of an appointment, with who gave it. */
export interface Identified {
  system: string
  value: string
}

/** A resource that its sender names by an address (`Appointment/a1`), and how often it was told. */
export interface ResourceVersion {
  resource: string
  version: number
  at: Date
}

/** What is known of schedules that are kept elsewhere. */
export interface FeedRecords {
  /** Locks the feed until the transaction ends: its news is taken one after the other. */
  load(feed: string, needs: Needs): Promise<KnownHere>
  /** The same for whoever only looks: nothing is locked or written. */
  look(feed: string, needs: Needs): Promise<KnownHere>
  keep(feed: string, here: KnownHere, changed: Changed, now: Date): Promise<void>
  /** Counts what was done, by day, and when news was last heard and made; null = nothing was heard. */
  count(
    feed: string,
    counts: ReadonlyMap<string, number>,
    now: Date,
    heard: { madeAt: Date | null } | null,
  ): Promise<void>
  addFaults(feed: string, faults: readonly FeedFault[]): Promise<void>
  /** Latest first. */
  faults(feed: string, limit: number): Promise<FeedFault[]>
  figures(feed: string, since: string): Promise<FeedFigures>
  /** Their visits that wait for a person, by key. */
  waiting(feed: string, limit: number): Promise<string[]>
  /** Their visits that are booked here within an interval, by key. */
  bookedWithin(feed: string, from: Date, to: Date): Promise<string[]>
  /** Of which feed a booking is, and what its appointment is called there. */
  ofBooking(bookingId: string): Promise<{ feed: string; key: string } | undefined>
  /** Puts by what a schedule is to be told. */
  putBy(bookingId: string, asking: Asking): Promise<void>
  /**
   * What is due to be told: of each visit the oldest that was not told, oldest first. It is due again at an instant,
   * should whoever asked be gone by then.
   */
  due(now: Date, until: Date, limit: number): Promise<{ asking: Asking; failures: number; bookingId: string }[]>
  settle(id: string, how: 'told' | 'dropped', at: Date): Promise<void>
  putOff(id: string, until: Date): Promise<void>
  /** How resources of a feed stand, as far as they were ever told; by address. */
  resources(feed: string, resources: readonly string[]): Promise<Map<string, ResourceVersion>>
  /** Resources that told of an appointment with this number; two are enough to know that there are several. */
  identified(feed: string, identifier: Identified): Promise<ResourceVersion[]>
  /** The appointment that a resource told of, by key. */
  toldBy(feed: string, resource: string): Promise<string | undefined>
  /** @param about the appointment that it tells of, and its numbers */
  keepResource(
    feed: string,
    version: ResourceVersion,
    about: { key: string | null; identifiers: readonly Identified[] },
  ): Promise<void>
  /** Up to when a server was asked for what it has changed; null = never. */
  polledTo(feed: string): Promise<Date | null>
  notePolled(feed: string, to: Date): Promise<void>
  codes(): Promise<FeedCode[]>
  putCode(code: FeedCode, at: Date): Promise<void>
}
