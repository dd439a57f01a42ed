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
  visits: Map<string, Registered<TheirVisit>>
  patients: Map<string, Registered<TheirPatient>>
  /** Ids of patients that were merged away → what they are now. */
  aliases: Map<string, string>
  seriesEnds: Map<string, SeriesEnd>
  /** What is booked here, as it was last carried out. */
  applied: Map<string, OurVisit>
  /** Messages taken before. */
  seen: Set<string>
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
/** Nothing is known yet. Written into by `remember` alone. */
export const nothingKnown = (): Known => ({
  ...{ visits: new Map(), patients: new Map(), aliases: new Map(), seriesEnds: new Map() },
  ...{ applied: new Map(), seen: new Set(), arrivals: 0 },
})

/** Writes down what is to be kept: in place, since a file brings thousands. */
export function remember(known: Known, kept: Kept): void {
  for (const [key, row] of kept.visits) known.visits.set(key, row)
  for (const [id, row] of kept.patients) known.patients.set(id, row)
  for (const [from, to] of kept.aliases) known.aliases.set(from, to)
  for (const [series, end] of kept.seriesEnds) known.seriesEnds.set(series, end)
  for (const [key, visit] of kept.applied)
    if (visit) known.applied.set(key, visit)
    else known.applied.delete(key)
  for (const message of kept.seen) known.seen.add(message)
  known.arrivals++
}

interface Gets<Row> {
  get(key: string): Row | undefined
}

/** What a look at one visit needs. */
export interface LookUps {
  visits: Gets<Registered<TheirVisit>>
  patients: Gets<Registered<TheirPatient>>
  aliases: Gets<string>
  seriesEnds: Gets<SeriesEnd>
}

/** As it will be known once that is kept. */
export function overlaid(known: LookUps, kept: Kept): LookUps {
  const over = <Row>(rows: readonly (readonly [string, Row])[], under: Gets<Row>): Gets<Row> => {
    const own = new Map(rows)
    return { get: (key) => own.get(key) ?? under.get(key) }
  }
  return {
    visits: over(kept.visits, known.visits),
    patients: over(kept.patients, known.patients),
    aliases: over(kept.aliases, known.aliases),
    seriesEnds: over(kept.seriesEnds, known.seriesEnds),
  }
}
