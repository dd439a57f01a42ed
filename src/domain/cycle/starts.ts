import { dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'

/** Where periods are likely to start, on day numbers. */
export interface Starts {
  /** Probability that a period starts on this day number; past starts that are known count as 1. */
  startProbability(day: number): number
  /** Cycle day if every coming period starts on its likeliest date; null when nothing is known. */
  cycleDay(day: number): number | null
}

/** The starts to expect after what is known, or null when cycles play no part. */
export function expectStarts(history: CycleHistory, _asOf?: CalendarDate): Starts | null {
  if (history.status === 'no-periods') return null
  const known = history.startedOn ?? history.lmp
  const mean = meanLength(history)
  if (history.status === 'unknown' || known === undefined) return { startProbability: () => 1 / mean, cycleDay: () => null }
  const lmp = dayNumber(known, 'lmp')
  return { startProbability: (day) => startAt(day - lmp, mean), cycleDay: (day) => (day < lmp ? null : (Math.floor(day - lmp) % Math.round(mean)) + 1) }
}

function meanLength(history: CycleHistory): number {
  const past = (history.pastCycleDays ?? []).filter((days) => days >= 15 && days <= 45)
  const stated = history.usualCycleDays === undefined ? [] : [history.usualCycleDays]
  const seen = [...past, ...stated]
  return (29.1 * 2 + seen.reduce((sum, days) => sum + days, 0)) / (2 + seen.length)
}

function startAt(offset: number, mean: number): number {
  if (offset === 0) return 1
  let sum = 0
  for (let k = 1; k <= 20; k++) sum += normal(offset, mean * k, Math.sqrt(9 * k + 4 * k * k))
  return offset < 0 ? 0 : Math.min(sum, 1)
}

function normal(x: number, mean: number, sd: number): number {
  return Math.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * Math.sqrt(2 * Math.PI))
}
