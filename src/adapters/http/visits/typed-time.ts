import { en } from 'chrono-node'
import { DateTime } from 'luxon'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import type { CalendarDate } from '../../../domain/preparation/cycle/history.ts'

/** Which of 3/4 is the day. */
export type DateOrder = 'day-first' | 'month-first'

/** Where most people write the month first. By CLDR 44, pattern "yMd", of countries that speak English. */
const MONTH_FIRST: ReadonlySet<string> = new Set(['US', 'PH', 'FM', 'MH', 'PW', 'GU', 'PR'])

export const orderOf = (country: string): DateOrder => (MONTH_FIRST.has(country) ? 'month-first' : 'day-first')

const READERS = { 'day-first': en.GB, 'month-first': en.casual }
const NEAREST_YEAR = 1900

/**
 * A date as a clerk types it: `1 nov`, `1/11`, `1.11.`, `yesterday`, `3 weeks ago`, `2026-11-01`. Without a year it is
 * the nearest that lies on the side it must be on.
 *
 * @param side of today on which it lies
 * @returns undefined where no date, or more than one, can be read
 */
export function readDate(
  typed: string,
  { today, order, side }: { today: CalendarDate; order: DateOrder; side: 'past' | 'to-come' },
): CalendarDate | undefined {
  const text = typed
    .trim()
    .replace(/^(\d{1,2})\.\s?(\d{1,2})\.?(?=$|\s|\d)/, '$1/$2/')
    .replace(/\/$/, '')
  if (/^\d{4}-\d{2}-\d{2}$/.test(text)) return valid(text)
  const [found, ...more] = READERS[order].parse(text, { instant: noon(today), timezone: 0 }, { forwardDate: false })
  if (!found || more.length > 0 || found.text.length < text.length || found.end) return undefined
  const { start } = found
  if (start.isCertain('hour')) return undefined
  const date = DateTime.fromJSDate(found.date(), { zone: 'utc' }).toISODate()!
  if (start.isCertain('weekday') && !start.isCertain('day')) return nearestWeek(date, today, side)
  return start.isCertain('year') || !start.isCertain('month') ? valid(date) : onSide(date, today, side)
}

const noon = (date: CalendarDate) => new Date(`${date}T12:00:00Z`)

/** A year of four digits that somebody may have been born in. */
function valid(date: string): CalendarDate | undefined {
  const read = DateTime.fromISO(date, { zone: 'utc' })
  return read.isValid && read.year >= NEAREST_YEAR ? date : undefined
}

/** "Monday" of the week in which it has been, or will be. */
function nearestWeek(date: CalendarDate, today: CalendarDate, side: 'past' | 'to-come'): CalendarDate {
  if (side === 'past') return date > today ? addDays(date, -7) : date
  return date < today ? addDays(date, 7) : date
}

/** "1 nov" of the year in which it has been, or will be. */
function onSide(date: CalendarDate, today: CalendarDate, side: 'past' | 'to-come'): CalendarDate | undefined {
  const thisYear = Number(today.slice(0, 4))
  const years = side === 'past' ? [thisYear, thisYear - 1] : [thisYear, thisYear + 1]
  const dates = years.map((year) => `${year}${date.slice(4)}`)
  return dates.find((each) => (side === 'past' ? each <= today : each >= today) && valid(each))
}

/** A time as a clerk types it: `9`, `930`, `9:30`, `14.30`, `2pm`. @returns `HH:MM`; undefined where it is none */
export function readClock(typed: string): string | undefined {
  const found = /^(\d{1,2})[:.h]?(\d{2})?\s*(am|pm|a\.m\.|p\.m\.)?$/i.exec(typed.trim())
  if (!found) return undefined
  const [, hours, minutes = '00', half = ''] = found
  const hour = hourOf(Number(hours), half.toLowerCase()[0])
  return hour === undefined || Number(minutes) > 59 ? undefined : `${String(hour).padStart(2, '0')}:${minutes}`
}

function hourOf(hour: number, half: string | undefined): number | undefined {
  if (half === undefined) return hour < 24 ? hour : undefined
  if (hour < 1 || hour > 12) return undefined
  return (hour % 12) + (half === 'p' ? 12 : 0)
}
