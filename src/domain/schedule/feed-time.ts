import { IANAZone } from 'luxon'
import { badInput } from '../failure.ts'
import { knownZone, timeFault } from '../local-time.ts'

const WRITTEN = /^(\d{4})-(\d{2})-(\d{2})T(\d{2}):(\d{2}):(\d{2})$/
const MINUTE_MS = 60_000
/** Longer than any zone is away from Greenwich: so far off lie the offsets before and after a change of the clocks. */
const DAY_MS = 86_400_000

/** Whether `YYYY-MM-DDTHH:MM:SS` names a day and a time of day that calendars and clocks have. */
export function isLocalTime(local: string): boolean {
  return utcOf(local) !== null
}

/**
 * The instant of a local time that a feed wrote without an offset. Where somebody types, `toInstant` refuses a time
 * that the clocks skip or repeat; a feed has nobody to ask, so RFC 5545 §3.3.5 decides: of a time that is shown twice
 * the first, and a time that is skipped by the offset before the gap. Either is a doubt for a person. luxon is asked
 * only for offsets: its answer for repeated times depends on the season in which it is asked.
 * @throws bad-input when there is no such date, time of day or zone
 */
export function feedInstant(local: string, zone: string): { at: Date; doubt: string | null } {
  const asUtc = utcOf(local)
  if (asUtc === null)
    badInput('time', timeFault(local) ?? 'This is not a date and time. Write it as 2026-03-20T10:30:00.')
  const { offset } = clock(zone)
  const [before, after] = [offset(asUtc - DAY_MS), offset(asUtc + DAY_MS)]
  const shown = [...new Set([before, after])]
    .filter((minutes) => offset(asUtc - minutes * MINUTE_MS) === minutes)
    .sort((a, b) => b - a)
  const at = new Date(asUtc - (shown[0] ?? before) * MINUTE_MS)
  if (shown.length === 0) return { at, doubt: `The clocks skip ${said(local)}: read by the offset before the change.` }
  if (shown.length > 1) return { at, doubt: `The clocks show ${said(local)} twice: the first of the two was taken.` }
  return { at, doubt: null }
}

/** Minutes by which a zone's clocks are ahead of UTC at an instant. */
export function offsetAt(at: Date, zone: string): number {
  return clock(zone).offset(at.getTime())
}

function clock(zone: string) {
  const known = IANAZone.create(knownZone(zone))
  return { offset: (ms: number) => known.offset(ms) }
}

/** As if it were UTC; null where it is not written so, or exists in no calendar. */
function utcOf(local: string): number | null {
  const parts = WRITTEN.exec(local)?.slice(1).map(Number)
  if (parts === undefined) return null
  const [year, month, day, hour, minute, second] = parts as [number, number, number, number, number, number]
  const at = new Date(0)
  at.setUTCFullYear(year, month - 1, day)
  at.setUTCHours(hour, minute, second)
  return at.toISOString().startsWith(local) ? at.getTime() : null
}

const said = (local: string) => `${local.slice(0, 10)} ${local.slice(11, 16)}`
