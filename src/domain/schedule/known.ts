import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { Purpose } from '../visits/purpose.ts'
import type { OurVisit } from './our-visit.ts'
import type { Registered, Stamp } from './register.ts'
import type { PatientId } from './schedule-news.ts'

/** How a visit stands with whoever keeps the schedule. */
export type TheirState = 'booked' | 'arrived' | 'cancelled' | 'in-error' | 'no-show'

/** What was told of a visit, in the sender's codes. */
export interface TheirVisit {
  state: TheirState
  startsAt: Date | null
  minutes: number | null
  places: readonly string[]
  clinicians: readonly string[]
  types: readonly string[]
  purpose: Purpose | null
  dueBy: CalendarDate | null
  consent: boolean | null
  overbooked: boolean
  /** Under which of ours the patient is known. */
  patient: string
}

export interface TheirPatient {
  ids: readonly PatientId[]
  name: string | null
  phones: readonly { number: string; kind: 'mobile' | 'fixed' | 'unknown' }[] | null
  email: string | null
  birthDate: CalendarDate | null
  language: string | null
  died: boolean | null
  lmp: { day: CalendarDate; toldOn: CalendarDate | null } | null
}

/** The rest of a series is called off, from an instant on. */
export interface SeriesEnd {
  from: Date
  by: Stamp
}

/** What is known of one feed's schedule, as far as a piece of news needs it. */
export interface Known {
  visits: ReadonlyMap<string, Registered<TheirVisit>>
  patients: ReadonlyMap<string, Registered<TheirPatient>>
  /** Ids of patients that were merged away → what they are now. */
  aliases: ReadonlyMap<string, string>
  seriesEnds: ReadonlyMap<string, SeriesEnd>
  /** What is booked here, as it was last carried out. */
  applied: ReadonlyMap<string, OurVisit>
  /** Messages taken before. */
  seen: ReadonlySet<string>
  /** How many pieces of news came before. */
  arrivals: number
}

/** Rows to be kept after a piece of news. */
export interface Kept {
  visits: readonly (readonly [string, Registered<TheirVisit>])[]
  patients: readonly (readonly [string, Registered<TheirPatient>])[]
  aliases: readonly (readonly [string, string])[]
  seriesEnds: readonly (readonly [string, SeriesEnd])[]
  /** Null = booked here no more. */
  applied: readonly (readonly [string, OurVisit | null])[]
  seen: readonly string[]
}

export const NOTHING_KEPT: Kept = { visits: [], patients: [], aliases: [], seriesEnds: [], applied: [], seen: [] }
export const NOTHING_KNOWN: Known = {
  ...{ visits: new Map(), patients: new Map(), aliases: new Map(), seriesEnds: new Map() },
  ...{ applied: new Map(), seen: new Set(), arrivals: 0 },
}

/** What is known once that is kept. */
export function withKept(known: Known, kept: Kept): Known {
  return {
    visits: new Map([...known.visits, ...kept.visits]),
    patients: new Map([...known.patients, ...kept.patients]),
    aliases: new Map([...known.aliases, ...kept.aliases]),
    seriesEnds: new Map([...known.seriesEnds, ...kept.seriesEnds]),
    applied: new Map(
      [...new Map<string, OurVisit | null>([...known.applied, ...kept.applied])].filter(
        (row): row is [string, OurVisit] => row[1] !== null,
      ),
    ),
    seen: new Set([...known.seen, ...kept.seen]),
    arrivals: known.arrivals + 1,
  }
}
