import { DateTime, IANAZone } from 'luxon'
import { feedInstant, isLocalTime } from '../../../domain/schedule/feed-time.ts'
import type { Line } from './lines.ts'

/** DATE-TIME in its three forms (RFC 5545 §3.3.5): UTC, with a zone, and floating, which has that of the place. */
export function readTime(line: Line, zone: string): { at: Date; doubt: string | null } | { fault: string } {
  const [, year, month, day, hour, minute, second, utc] =
    /^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)(Z?)$/.exec(line.value.trim()) ?? []
  if (year === undefined) return { fault: 'This is no time of day: an event of a whole day is no visit.' }
  const local = `${year}-${month}-${day}T${hour}:${minute}:${second}`
  if (!isLocalTime(local)) return { fault: 'There is no such date, or no such time of day.' }
  if (utc) return { at: DateTime.fromISO(`${local}Z`).toJSDate(), doubt: null }
  const named = line.params['TZID'] ?? zone
  // Names of zones that another program made up mean what its VTIMEZONE says, which is not read here.
  return IANAZone.isValidZone(named)
    ? feedInstant(local, named)
    : { fault: 'The zone has no IANA name, such as America/Halifax: have the calendar written with such names.' }
}

/** DURATION in minutes (§3.3.6); null = none of a visit. */
export function minutesOf(value: string): number | null {
  const read = /^\+?P(?:(\d{1,2})D)?(?:T(?:(\d{1,3})H)?(?:(\d{1,4})M)?(?:\d{1,5}S)?)?$/.exec(value.trim())
  const [days, hours, minutes] = (read?.slice(1) ?? []).map((part) => Number(part ?? 0))
  const all = (days ?? 0) * 1_440 + (hours ?? 0) * 60 + (minutes ?? 0)
  return all > 0 ? all : null
}
