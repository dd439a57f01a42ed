import { DateTime } from 'luxon'
import type { CalendarDate } from '../../../domain/preparation/cycle/history.ts'
import type { ClockHours } from '../../../domain/region/clinic.ts'
import { inZone } from '../../../domain/local-time.ts'

/** Times as the desk reads them: day before month in words, in the clinic's or the visit's zone. */
const format = (at: Date, zone: string, pattern: string) => inZone(at, zone).setLocale('en').toFormat(pattern)

/** For addresses and fields: they take 24 hours at every clinic. */
export const typedClock = (at: Date, zone: string) => format(at, zone, 'HH:mm')
export const shortDay = (at: Date, zone: string) => format(at, zone, 'ccc d LLL')
export const longDay = (at: Date, zone: string) => format(at, zone, 'cccc d LLLL yyyy')
/** For `datetime` attributes. */
export const machine = (at: Date, zone: string) => inZone(at, zone).toISO({ suppressMilliseconds: true })!

/** A time of day, alone and after its day, by the clock that a clinic reads. */
export interface ClinicClock {
  clock(at: Date, zone: string): string
  dayAndClock(at: Date, zone: string): string
}

export function clinicClock(hours: ClockHours): ClinicClock {
  const pattern = hours === '12' ? 'h:mm a' : 'HH:mm'
  return {
    clock: (at, zone) => format(at, zone, pattern),
    dayAndClock: (at, zone) => format(at, zone, `ccc d LLL, ${pattern}`),
  }
}

/** The clock on the wall, with the zone that every time on the page is in. */
export function clockLine(now: Date, zone: string, { clock }: ClinicClock): string {
  const local = inZone(now, zone).setLocale('en')
  return `${local.toFormat('cccc d LLLL yyyy')}, ${clock(now, zone)} · all times ${zone.replaceAll('_', ' ')} (UTC${local.toFormat('Z')})`
}

export function dateWords(date: CalendarDate, pattern = 'ccc d LLL'): string {
  return DateTime.fromISO(date, { zone: 'utc' }).setLocale('en').toFormat(pattern)
}

/** A date from an address or a form, or the usual one when it is none. */
export function dateOr(written: string | undefined, usual: CalendarDate): CalendarDate {
  const real =
    written !== undefined && /^\d{4}-\d{2}-\d{2}$/.test(written) && DateTime.fromISO(written, { zone: 'utc' }).isValid
  return real ? written : usual
}

/** "3 h", "2 days": how long ago, for lists. */
export function age(since: Date, now: Date): string {
  const minutes = Math.max(0, Math.floor((now.getTime() - since.getTime()) / 60_000))
  if (minutes < 60) return `${minutes} min`
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h`
  return `${Math.floor(minutes / 1440)} days`
}
