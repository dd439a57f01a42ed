import { bleedsOn } from './bleed.ts'
import { calendarDate, dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { cycleDayOn } from './path.ts'
import { BLEED } from './published.ts'
import { rate } from './rating.ts'
import { assess } from './situation.ts'
import { expectStarts, type Starts } from './starts.ts'
import type { Timing } from './timing.ts'

/** Shown wherever a forecast is shown to a person. */
export const FORECAST_CAUTION = 'For timing a specimen only. Never use it to avoid or plan a pregnancy.'

/**
 * The forecast for every date of a range, both ends included. For timing a specimen, never for contraception or
 * conception.
 *
 * @param asOf the day on which the forecast is made: anything dated later is left out
 * @throws bad-input for a date that is none
 */
export function forecastDays(
  history: CycleHistory,
  range: { from: CalendarDate; to: CalendarDate },
  protocol: Timing,
  asOf?: CalendarDate,
): DayForecast[] {
  const [from, to] = [dayNumber(range.from, 'from'), dayNumber(range.to, 'to')]
  if (to < from) return []
  // A date is judged by the starts of the days before it, so those are needed too.
  const lookBack = Math.max(protocol.avoidDays?.last ?? 0, BLEED.longestDays)
  const situation = assess(history, asOf)
  const starts = situation && expectStarts(situation, { from: from - lookBack, to })
  return Array.from({ length: to - from + 1 }, (_, i) => forecastDay(starts, from + i, protocol))
}

function forecastDay(starts: Starts | null, day: number, protocol: Timing): DayForecast {
  const date = calendarDate(day)
  if (starts === null) return { date, cycleDay: null, avoidProbability: 0, bleedingProbability: 0, rating: 'fine' }
  const known = {
    cycleDay: starts.path && cycleDayOn(starts.path, day),
    avoidProbability: avoidOn(starts, day, protocol),
    bleedingProbability: bleedingOn(starts, day),
  }
  return { date, ...known, rating: rate(known, protocol) }
}

/**
 * Days 1-5 are the days on which a period started 0 to 4 days ago, so their probability is the sum over those starts.
 */
function avoidOn({ current, other }: Starts, day: number, { avoidDays }: Timing): number {
  if (avoidDays === null) return 0
  let sum = 0
  for (let cycleDay = avoidDays.first; cycleDay <= avoidDays.last; cycleDay++) sum += other(day - cycleDay + 1)
  for (const { day: start, probability } of current) {
    const cycleDay = day - start + 1
    if (cycleDay >= avoidDays.first && cycleDay <= avoidDays.last) sum += probability
  }
  return Math.min(1, sum)
}

function bleedingOn({ current, other }: Starts, day: number): number {
  let sum = 0
  for (let since = 0; since < BLEED.longestDays; since++) sum += other(day - since) * bleedsOn(since)
  for (const { day: start, probability, said } of current) sum += probability * bleedsOn(day - start, said)
  return Math.min(1, sum)
}
