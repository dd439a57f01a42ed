import { badInput } from '../../failure.ts'
import type { CalendarDate } from './history.ts'
import { remember } from './remember.ts'

const MS_A_DAY = 86_400_000

/**
 * Days since 1970-01-01 of a calendar date: the whole forecast counts in these, so that no zone or clock change can
 * touch it.
 *
 * @throws bad-input when it is not a real date written `YYYY-MM-DD`.
 */
export function dayNumber(date: CalendarDate, field = 'date'): number {
  const parts = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date)
  const number = parts ? Date.UTC(Number(parts[1]), Number(parts[2]) - 1, Number(parts[3])) / MS_A_DAY : NaN
  // Date.UTC rolls 30 February over into March, so a date counts only if it reads back as it was written.
  if (parts === null) badInput(field, 'This is not a date. Write it as year-month-day, e.g. 2026-03-02.')
  if (calendarDate(number) !== date)
    badInput(field, 'There is no such date. Write it as year-month-day, e.g. 2026-03-02.')
  return number
}

const written = remember((number: number) => new Date(number * MS_A_DAY).toISOString().slice(0, 10))

/** The calendar date of a day number. */
export function calendarDate(number: number): CalendarDate {
  return written(number)
}

/** The date so many days later (or earlier, if negative). */
export function addDays(date: CalendarDate, days: number): CalendarDate {
  return calendarDate(dayNumber(date) + days)
}

/** Whole days from one date to another; negative when `to` is the earlier. */
export function daysBetween(from: CalendarDate, to: CalendarDate): number {
  return dayNumber(to) - dayNumber(from)
}
