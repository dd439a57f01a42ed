import type { FullProtocol } from '../protocol.ts'
import { addDays, dayNumber } from './days.ts'
import { forecastDays } from './forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast, Rating } from './history.ts'

/** The weeks around a visit, to be drawn as a strip and said in words. */
export interface WeeksStrip {
  /** Monday to Sunday, in order. */
  weeks: DayForecast[][]
  /** Neighbouring dates of one rating. */
  runs: StripRun[]
}

export interface StripRun {
  from: CalendarDate
  to: CalendarDate
  rating: Rating
  /** Least and greatest chance of a day to avoid within the run. */
  chance: { least: number; most: number }
}

const WEEKS_BEFORE = 2
const WEEKS_AFTER = 3
/** 1970-01-01, day number 0, was a Thursday. */
const THURSDAY = 3

/** Two weeks before the visit's week and three after it, but none that is over, as the forecast sees them on `asOf`. */
export function weeksStrip(
  history: CycleHistory,
  visit: CalendarDate,
  protocol: Pick<FullProtocol, 'avoidDays' | 'idealDay' | 'idealWindow'>,
  asOf: CalendarDate,
): WeeksStrip {
  const week = mondayOf(visit)
  const earliest = mondayOf(asOf)
  const from =
    addDays(week, -7 * WEEKS_BEFORE) < earliest && earliest <= week ? earliest : addDays(week, -7 * WEEKS_BEFORE)
  const days = forecastDays(history, { from, to: addDays(week, 7 * (WEEKS_AFTER + 1) - 1) }, protocol, asOf)
  return {
    weeks: Array.from({ length: days.length / 7 }, (_, index) => days.slice(index * 7, index * 7 + 7)),
    runs: runsOf(days),
  }
}

function mondayOf(date: CalendarDate): CalendarDate {
  return addDays(date, -((((dayNumber(date) + THURSDAY) % 7) + 7) % 7))
}

function runsOf(days: readonly DayForecast[]): StripRun[] {
  const runs: StripRun[] = []
  for (const { date, rating, avoidProbability } of days) {
    const last = runs.at(-1)
    if (last?.rating === rating) {
      last.to = date
      last.chance = {
        least: Math.min(last.chance.least, avoidProbability),
        most: Math.max(last.chance.most, avoidProbability),
      }
    } else runs.push({ from: date, to: date, rating, chance: { least: avoidProbability, most: avoidProbability } })
  }
  return runs
}
