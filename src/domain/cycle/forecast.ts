import { calendarDate, dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { rate } from './rating.ts'
import { expectStarts, type Starts } from './starts.ts'
import type { Timing } from './timing.ts'

/**
 * The forecast for every date of a range, both ends included. For timing a specimen, never for contraception or conception.
 *
 * @param asOf the day on which the forecast is made
 */
export function forecastDays(
  history: CycleHistory,
  range: { from: CalendarDate; to: CalendarDate },
  protocol: Timing,
  asOf?: CalendarDate,
): DayForecast[] {
  const starts = expectStarts(history, asOf)
  const days: DayForecast[] = []
  for (let day = dayNumber(range.from, 'from'); day <= dayNumber(range.to, 'to'); day++) days.push(forecastDay(starts, day, protocol))
  return days
}

function forecastDay(starts: Starts | null, day: number, protocol: Timing): DayForecast {
  const date = calendarDate(day)
  if (starts === null) return { date, cycleDay: null, avoidProbability: 0, bleedingProbability: 0, rating: 'fine' }
  const known = { cycleDay: starts.cycleDay(day), avoidProbability: avoidAt(starts, day, protocol), bleedingProbability: bleedingAt(starts, day) }
  return { date, ...known, rating: rate(known, protocol) }
}

function avoidAt(starts: Starts, day: number, { avoidDays }: Timing): number {
  let sum = 0
  if (avoidDays) for (let cycleDay = avoidDays.first; cycleDay <= avoidDays.last; cycleDay++) sum += starts.startProbability(day - cycleDay + 1)
  return Math.min(sum, 1)
}

function bleedingAt(starts: Starts, day: number): number {
  let sum = 0
  for (let bled = 0; bled < 10; bled++) sum += starts.startProbability(day - bled) / (1 + Math.exp((bled - 4.5) / 0.8))
  return Math.min(sum, 1)
}
