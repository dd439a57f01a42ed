import { DateTime } from 'luxon'
import { addDays, daysBetween } from '../preparation/cycle/days.ts'
import type { CalendarDate } from '../preparation/cycle/history.ts'
import { badInput } from '../failure.ts'

/** Many openings at once, as a person says it: every 20 minutes, on Tuesday and Thursday mornings, until Easter. */
export interface Series {
  from: CalendarDate
  /** Included. */
  to: CalendarDate
  /** 1 = Monday … 7 = Sunday. */
  weekdays: readonly number[]
  /** `HH:MM`; the first opening. */
  first: string
  /** `HH:MM`; no opening begins at or after this. */
  until: string
  everyMinutes: number
}

const MOST = 500
const LONGEST_DAYS = 184

/**
 * The local times of a series, `YYYY-MM-DDTHH:MM`. Times that the clocks skip or show twice are left out.
 * @throws bad-input when it has none, or too many
 */
export function seriesTimes(series: Series, zone: string): string[] {
  const { from, to, weekdays } = series
  const days = daysBetween(from, to) + 1
  if (days < 1) badInput('to', 'The last day comes before the first.')
  if (days > LONGEST_DAYS) badInput('to', 'Give at most half a year at once.')
  const dates = Array.from({ length: days }, (_, index) => addDays(from, index)).filter((date) =>
    weekdays.includes(DateTime.fromISO(date, { zone: 'utc' }).weekday),
  )
  const clocks = clocksOf(series)
  const times = dates.flatMap((date) => clocks.map((clock) => `${date}T${clock}`)).filter((time) => isPlain(time, zone))
  if (times.length === 0)
    badInput(
      'weekdays',
      'No opening comes of this. Choose days of the week that lie between the two dates, and hours in order.',
    )
  if (times.length > MOST) badInput('to', `These would be ${times.length} openings. Add at most ${MOST} at once.`)
  return times
}

function clocksOf({ first, until, everyMinutes }: Series): string[] {
  if (everyMinutes < 5 || everyMinutes > 240) badInput('every', 'Give from 5 to 240 minutes.')
  const clocks: string[] = []
  for (let at = minutesOf(first); at < minutesOf(until); at += everyMinutes)
    clocks.push(`${String(Math.floor(at / 60)).padStart(2, '0')}:${String(at % 60).padStart(2, '0')}`)
  return clocks
}

function minutesOf(clock: string): number {
  const [hour, minute] = clock.split(':').map(Number)
  return hour! * 60 + minute!
}

/** A time that the clocks show exactly once on that day. */
function isPlain(time: string, zone: string): boolean {
  const local = DateTime.fromISO(time, { zone })
  return local.toFormat("yyyy-MM-dd'T'HH:mm") === time && local.getPossibleOffsets().length === 1
}
