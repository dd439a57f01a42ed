import { DateTime } from 'luxon'
import { FORECAST_CAUTION } from './forecast.ts'
import type { CalendarDate, DayForecast, Rating } from './history.ts'

/** Letter and shade of each rating: both read without colour, in print and aloud. */
const MARKS: Record<Rating, { letter: string; shade: string; meaning: string }> = {
  best: { letter: 'B', shade: ' ', meaning: 'best' },
  fine: { letter: 'F', shade: '.', meaning: 'fine' },
  unsure: { letter: 'U', shade: '▒', meaning: 'unsure' },
  avoid: { letter: 'A', shade: '█', meaning: 'avoid' },
}
const CELL = 11
const WEEKDAYS = ['Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat', 'Sun']

/**
 * Draws forecast days as months, weeks from Monday to Sunday: date, shade, letter, chance in 100 of a day to avoid.
 * The booked date stands in square brackets.
 *
 * @param days in order, without gaps
 */
export function drawCalendar(days: readonly DayForecast[], booked?: CalendarDate): string {
  const months = [...new Set(days.map(({ date }) => date.slice(0, 7)))]
  const drawn = months.map((month) =>
    drawMonth(
      days.filter(({ date }) => date.startsWith(month)),
      booked,
    ),
  )
  return [...drawn, legend(booked)].join('\n\n')
}

function drawMonth(days: readonly DayForecast[], booked: CalendarDate | undefined): string {
  const first = at(days[0]!.date)
  const cells = [...Array<string>(first.weekday - 1).fill(''), ...days.map((day) => drawDay(day, day.date === booked))]
  const weeks = Array.from({ length: Math.ceil(cells.length / 7) }, (_, week) =>
    drawRow(cells.slice(week * 7, week * 7 + 7)),
  )
  return [first.setLocale('en').toFormat('LLLL yyyy'), drawRow(WEEKDAYS.map((name) => `  ${name}`)), ...weeks].join(
    '\n',
  )
}

function drawRow(cells: readonly string[]): string {
  return cells
    .map((cell) => cell.padEnd(CELL))
    .join('')
    .trimEnd()
}

function drawDay({ date, rating, avoidProbability }: DayForecast, isBooked: boolean): string {
  const { letter, shade } = MARKS[rating]
  const text = `${String(at(date).day).padStart(2)} ${shade}${letter}${String(percent(avoidProbability)).padStart(4)}`
  return isBooked ? `[${text}]` : ` ${text}`
}

/** Never 0 or 100 unless it is certain: a small risk must not look like none. */
function percent(probability: number): number {
  if (probability === 0 || probability === 1) return probability * 100
  return Math.min(99, Math.max(1, Math.round(probability * 100)))
}

function legend(booked: CalendarDate | undefined): string {
  const ratings = Object.values(MARKS).map(({ letter, shade, meaning }) => `${shade}${letter} ${meaning}`)
  const visit = booked === undefined ? [] : ['[ ] booked visit']
  return `${[...ratings, ...visit].join('   ')}\nNumbers: chance in 100 of a day to avoid.\n${FORECAST_CAUTION}`
}

function at(date: CalendarDate): DateTime {
  return DateTime.fromISO(date, { zone: 'utc' })
}
