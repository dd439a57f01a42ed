import { dayNumber } from '../preparation/cycle/days.ts'
import { forecastDays } from '../preparation/cycle/forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast } from '../preparation/cycle/history.ts'
import type { Timing } from '../preparation/cycle/timing.ts'

/**
 * What each thing costs, in units of one visit on a day to avoid. Judgement, no source: 25 days of shift weigh as much as one
 * chance in ten of a spoilt visit. Chosen with simulated patients, so that about three days of shift buy nearly all the safety
 * there is to buy (tests/visits).
 */
export const RANK_WEIGHTS = {
  /** Each day away from the booked date: moving people costs goodwill. */
  shiftDay: 0.004,
  /** Any move at all. */
  move: 0.003,
  /** Each day outside the ideal window. */
  offIdealDay: 0.0003,
  /** Bleeding beyond the days to avoid. */
  bleeding: 0.01,
  /** At or below this chance of a day to avoid the booked date is safe, and nothing is suggested. */
  safe: 0.02,
} as const

export interface RankedOpening {
  key: string
  avoidProbability: number
  cycleDay: number | null
  /** How much better than the booked date, in units of one spoilt visit; higher is better. */
  score: number
}

export interface RankRequest {
  history: CycleHistory
  booked: CalendarDate
  openings: { key: string; date: CalendarDate }[]
  protocol: Timing
  /** Openings before this date leave no time to prepare. */
  notBefore?: CalendarDate
  /** The patient cannot keep the booked date: rank every opening that is no day to avoid, however good the booked date is. */
  mustMove?: boolean
  asOf?: CalendarDate
}

/** The openings that are better than the booked date and not days to avoid themselves, best first; none when it is safe. */
export function rankOpenings({
  history,
  booked,
  openings,
  protocol,
  notBefore,
  mustMove = false,
  asOf,
}: RankRequest): RankedOpening[] {
  const usable = openings.filter(({ date }) => notBefore === undefined || date >= notBefore)
  const forecast = forecastAll(history, [booked, ...usable.map(({ date }) => date)], protocol, asOf)
  const now = forecast(booked)
  if (!mustMove && now.avoidProbability <= RANK_WEIGHTS.safe) return []
  const nowCost = costOf(now, booked, protocol)
  return usable
    .map(({ key, date }) => ({ key, day: forecast(date) }))
    .map(({ key, day }) => ({ key, day, score: nowCost - costOf(day, booked, protocol) }))
    .filter(({ day, score }) => day.rating !== 'avoid' && (mustMove || score > 0))
    .sort((a, b) => b.score - a.score)
    .map(({ key, day: { avoidProbability, cycleDay }, score }) => ({ key, avoidProbability, cycleDay, score }))
}

/** One forecast over the whole span serves every opening. */
function forecastAll(
  history: CycleHistory,
  dates: CalendarDate[],
  protocol: Timing,
  asOf?: CalendarDate,
): (date: CalendarDate) => DayForecast {
  const ordered = dates.toSorted()
  const range = { from: ordered[0]!, to: ordered.at(-1)! }
  const byDate = new Map(forecastDays(history, range, protocol, asOf).map((day) => [day.date, day]))
  return (date) => byDate.get(date)!
}

function costOf(day: DayForecast, booked: CalendarDate, { idealWindow }: Timing): number {
  const shift = Math.abs(dayNumber(day.date) - dayNumber(booked))
  const offIdeal = day.cycleDay === null ? 0 : Math.max(0, idealWindow.first - day.cycleDay, day.cycleDay - idealWindow.last)
  const timing = day.avoidProbability + RANK_WEIGHTS.offIdealDay * offIdeal + RANK_WEIGHTS.bleeding * day.bleedingProbability
  return timing + RANK_WEIGHTS.shiftDay * shift + (shift > 0 ? RANK_WEIGHTS.move : 0)
}
