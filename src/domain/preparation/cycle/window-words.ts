import { DateTime } from 'luxon'
import type { CalendarDate } from './history.ts'
import type { CycleWindow } from './windows.ts'

/** A window in one line for a person: `12-22 March, best 16 March (at most 2 in 100 for a day to avoid)`. */
export function windowWords({ from, to, ideal, avoidProbability, unsure }: CycleWindow): string {
  const chance =
    avoidProbability === 0 ? 'no chance' : `at most ${Math.max(1, Math.ceil(avoidProbability * 100))} in 100`
  if (unsure)
    return `unsure; the safest date is ${inWords(from)} (${chance} for a day to avoid). Ask, or look again nearer the time`
  const dates = from === to ? inWords(from) : `${inWords(from)} to ${inWords(to)}`
  return `${dates}, ideal ${inWords(ideal)} (${chance} for a day to avoid)`
}

function inWords(date: CalendarDate): string {
  return DateTime.fromISO(date, { zone: 'utc' }).setLocale('en').toFormat('d MMMM')
}
