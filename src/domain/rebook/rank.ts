import { daysBetween } from '../cycle/days.ts'
import { forecastDays } from '../cycle/forecast.ts'
import type { CalendarDate, CycleHistory } from '../cycle/history.ts'
import type { Timing } from '../cycle/timing.ts'

/** What each thing is worth in the score, in units of probability of a day to avoid. */
export const RANK_WEIGHTS = { shiftDay: 0.006, idealDay: 0.001 } as const

export interface RankedOpening {
  key: string
  avoidProbability: number
  cycleDay: number | null
  /** Lower is better: probability of a day to avoid plus the cost of the shift and of distance from the ideal day. */
  score: number
}

export interface RankRequest {
  history: CycleHistory
  booked: CalendarDate
  openings: { key: string; date: CalendarDate }[]
  protocol: Timing
  /** Openings before this date leave no time to prepare. */
  notBefore?: CalendarDate
  asOf?: CalendarDate
}

/** The openings that are better than what she has, best first. */
export function rankOpenings({ history, booked, openings, protocol, notBefore, asOf }: RankRequest): RankedOpening[] {
  const rank = (key: string, date: CalendarDate): RankedOpening => {
    const { avoidProbability, cycleDay } = forecastDays(history, { from: date, to: date }, protocol, asOf)[0]!
    const fromIdeal = cycleDay === null ? 0 : Math.abs(cycleDay - protocol.idealDay)
    const score = avoidProbability + RANK_WEIGHTS.shiftDay * Math.abs(daysBetween(booked, date)) + RANK_WEIGHTS.idealDay * fromIdeal
    return { key, avoidProbability, cycleDay, score }
  }
  const now = rank('', booked)
  return openings
    .filter(({ date }) => notBefore === undefined || date >= notBefore)
    .map(({ key, date }) => rank(key, date))
    .filter(({ score }) => score < now.score)
    .sort((a, b) => a.score - b.score)
}
