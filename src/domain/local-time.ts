import { DateTime, IANAZone } from 'luxon'
import { badInput } from './failure.ts'
import type { CalendarDate } from './preparation/cycle/history.ts'

/** Zones found to exist; asking the machine's table costs as much as the rest of a booking's checks together. */
// eslint-disable-next-line no-restricted-syntax -- a memo: the answers are the same without it
const known = new Set<string>()
/** More than there are zones; capital letters may be written otherwise. */
const MOST_KNOWN = 1_000

/** @throws bad-input when nobody knows the zone. */
export function knownZone(zone: string, field = 'zone'): string {
  if (known.has(zone)) return zone
  if (!IANAZone.isValidZone(zone))
    badInput(field, 'This is not a known time zone. Use an IANA name such as America/Halifax.')
  if (known.size < MOST_KNOWN) known.add(zone)
  return zone
}

/**
 * An instant written with an offset, or a local time in `zone`. A local time that the clocks skip or repeat is refused,
 * since guessing could move a visit by an hour.
 * @throws bad-input on `field`
 */
export function toInstant(written: string, zone: string, field: string): Date {
  const hasOffset = /(?:[zZ]|[+-]\d{2}(?::?\d{2})?)$/.test(written) && written.includes('T')
  const read = DateTime.fromISO(written, hasOffset ? { setZone: true } : { zone: knownZone(zone) })
  if (!read.isValid || !TO_THE_MINUTE.test(written) || MIDNIGHT_AS_24.test(written)) {
    badInput(
      field,
      timeFault(written) ??
        'This is not a date and time. Write it as 2026-03-20T10:30, or with an offset: 2026-03-20T10:30:00-03:00.',
    )
  }
  if (!hasOffset) refuseClockChange(read, written, field)
  return read.toJSDate()
}

/** What is wrong with a time that is written like one; undefined where it is not even that. */
export function timeFault(written: string): string | undefined {
  if (MIDNIGHT_AS_24.test(written)) return 'Midnight is 00:00 of the day that it begins. Write it with that date.'
  return /^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}/.test(written)
    ? 'There is no such date, or no such time of day. Check the numbers.'
    : undefined
}

/** An hour alone is a time by ISO 8601 too, and is more likely a slip. */
const TO_THE_MINUTE = /T\d{2}:?\d{2}/

/** ISO 8601 knew it as the end of a day once; which date was meant is asked rather than guessed. */
const MIDNIGHT_AS_24 = /T24/

function refuseClockChange(read: DateTime, written: string, field: string): void {
  const [, hour, minute] = /T(\d{2}):?(\d{2})/.exec(written)!
  if (read.hour !== Number(hour) || read.minute !== Number(minute))
    badInput(field, 'The clocks skip this time on that day. Choose another time.')
  if (read.getPossibleOffsets().length > 1)
    badInput(
      field,
      'The clocks show this time twice on that day. Give it with its offset, e.g. 2026-11-01T01:30:00-04:00.',
    )
}

/** Local wall-clock time with offset, e.g. `2026-03-17T18:00:00-03:00`. */
export function withOffset(at: Date, zone: string): string {
  return DateTime.fromJSDate(at, { zone }).toISO({ suppressMilliseconds: true })!
}

/** Local calendar date of an instant. */
export function dateIn(at: Date, zone: string): CalendarDate {
  return inZone(at, zone).toISODate()
}

/** The local date so many days later, at noon: at night the clocks may skip the hour that one starts from. */
export function otherDay(local: DateTime<true>, days: number): DateTime<true> {
  return local.set({ hour: 12 }).plus({ days }) as DateTime<true>
}

/** The moment as the patient's clock shows it. @throws `bad-input` for a zone nobody knows. */
export function inZone(at: Date, zone: string): DateTime<true> {
  const local = DateTime.fromJSDate(at, { zone })
  if (!local.isValid) badInput('zone', `"${zone}" is not a known time zone. Use an IANA name such as America/Halifax.`)
  return local
}

/** Midnight that begins a local date. */
export function startOfDay(date: CalendarDate, zone: string): Date {
  return DateTime.fromISO(date, { zone }).startOf('day').toJSDate()
}
