import type { DateTime } from 'luxon'
import { inZone, otherDay } from '../local-time.ts'

/**
 * Local wall-clock hours in which messages may go out: from `from` (inclusive) to `to` (exclusive), `HH:MM`, per
 * weekday group.
 */
export interface SendingHours {
  weekdays: { from: string; to: string }
  weekend: { from: string; to: string }
}

/** Default 09:00 to 20:00, every day. */
export const DEFAULT_HOURS: SendingHours = {
  weekdays: { from: '09:00', to: '20:00' },
  weekend: { from: '09:00', to: '20:00' },
}

/**
 * The widest hours a site may set: 08:00 to 21:00 at the called party's location. 47 CFR 64.1200(c)(1) bars telephone
 * solicitation outside them; a care message is no solicitation, but we keep the limit as policy and read "after 9 p.m."
 * strictly (21:00:00 itself is too late).
 */
const WIDEST = { from: 8 * 60, to: 21 * 60 }

/** Minutes after midnight of `HH:MM`. */
function minutes(clock: string): number {
  const [hour, minute] = clock.split(':').map(Number)
  return hour! * 60 + minute!
}

/** @returns the faults of a site's hours, empty when they can be used. */
export function checkHours(hours: SendingHours): string[] {
  return Object.entries(hours).flatMap(([days, { from, to }]) => {
    const valid = [from, to].every((clock) => /^([01]\d|2[0-3]):[0-5]\d$/.test(clock))
    if (!valid) return [`${days}: write hours as HH:MM, e.g. 09:00`]
    if (minutes(from) >= minutes(to)) return [`${days}: the hours end before they begin`]
    if (minutes(from) < WIDEST.from || minutes(to) > WIDEST.to)
      return [`${days}: hours must lie within 08:00 and 21:00`]
    return []
  })
}

function hoursOn(day: DateTime, hours: SendingHours): { opens: DateTime; closes: DateTime } {
  const { from, to } = day.weekday >= 6 ? hours.weekend : hours.weekdays
  return { opens: atClock(day, from), closes: atClock(day, to) }
}

/** `HH:MM` on the local day of `day`. Sending hours never reach into the night, where clocks change. */
export function atClock(day: DateTime, clock: string): DateTime {
  const total = minutes(clock)
  return day.set({ hour: Math.floor(total / 60), minute: total % 60, second: 0, millisecond: 0 })
}

/** Whether a message may go out at this instant. */
export function mayRing(at: Date, zone: string, hours: SendingHours): boolean {
  const local = inZone(at, zone)
  const { opens, closes } = hoursOn(local, hours)
  return local >= opens && local < closes
}

/** The first allowed instant at or after `at`. */
export function nextAllowed(at: Date, zone: string, hours: SendingHours): Date {
  const local = inZone(at, zone)
  const { opens, closes } = hoursOn(local, hours)
  if (local < opens) return opens.toJSDate()
  if (local < closes) return at
  return hoursOn(otherDay(local, 1), hours).opens.toJSDate()
}

/** The last allowed whole minute at or before `at`. */
export function lastAllowed(at: Date, zone: string, hours: SendingHours): Date {
  const local = inZone(at, zone)
  const { opens, closes } = hoursOn(local, hours)
  if (local >= closes) return closes.minus({ minutes: 1 }).toJSDate()
  if (local >= opens) return at
  return hoursOn(otherDay(local, -1), hours).closes.minus({ minutes: 1 }).toJSDate()
}
