import { DateTime } from 'luxon'
import type { CalendarDate } from '../preparation/cycle/history.ts'

/** A calendar day as a count of days since 1970-01-01, so that "two days before" is plain subtraction. */
export type DayNumber = number

const DAY_MS = 86_400_000

/** The moment a text came in, on the patient's own clock. */
export interface Receipt {
  today: DayNumber
  /** 0..23, on her clock. */
  hour: number
  /** Monday = 1. */
  weekday: number
  /** The same moment with its zone, for what days cannot say: hours ago, offsets. */
  local: DateTime
}

export function receiptOf(receivedAt: Date, zone: string): Receipt {
  const local = DateTime.fromJSDate(receivedAt, { zone })
  return { today: dayNumber(local.year, local.month, local.day), hour: local.hour, weekday: local.weekday, local }
}

/** Day number of a calendar date; the date must exist. */
export function dayNumber(year: number, month: number, day: number): DayNumber {
  return Math.round(Date.UTC(year, month - 1, day) / DAY_MS)
}

export function calendarDate(day: DayNumber): CalendarDate {
  return DateTime.fromMillis(day * DAY_MS, { zone: 'utc' }).toISODate()!
}

/** The last date up to `today` that has this day of the month, within three months; undefined when there is none. */
export function lastDayOfMonth(today: DayNumber, day: number): DayNumber | undefined {
  const now = DateTime.fromMillis(today * DAY_MS, { zone: 'utc' })
  for (let back = 0; back < 3; back++) {
    const month = now.startOf('month').minus({ months: back })
    const found = dayNumber(month.year, month.month, day)
    if (day <= month.daysInMonth! && found <= today) return found
  }
  return undefined
}

/** The last day of the month before the one `today` is in. */
export function endOfLastMonth(today: DayNumber): DayNumber {
  return today - DateTime.fromMillis(today * DAY_MS, { zone: 'utc' }).day
}

/**
 * The date in that year, or without one in the last year it was not later than `today`; undefined when it does not
 * exist or lies ahead.
 */
export function pastDate(today: DayNumber, month: number, day: number, year?: number): DayNumber | undefined {
  const thisYear = DateTime.fromMillis(today * DAY_MS, { zone: 'utc' }).year
  for (const candidate of year === undefined ? [thisYear, thisYear - 1] : [year < 100 ? 2000 + year : year]) {
    const first = DateTime.utc(candidate, month, 1)
    if (!first.isValid || day < 1 || day > first.daysInMonth!) continue
    const found = dayNumber(candidate, month, day)
    if (found <= today) return found
  }
  return undefined
}
