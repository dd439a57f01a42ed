import { RATING_LIMITS } from './rating.ts'
import { calendarDate, dayNumber } from './days.ts'
import { forecastDays } from './forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { expectPath, type Path } from './path.ts'
import { assess } from './situation.ts'
import type { Timing } from './timing.ts'

/** The dates of one cycle on which a specimen may well be collected. */
export interface CycleWindow {
  from: CalendarDate
  to: CalendarDate
  /** The ideal date: two weeks after the first day of the period, if that comes when it is likeliest to. */
  ideal: CalendarDate
  /** The greatest chance, 0..1, that a date of the window is a day to avoid. */
  avoidProbability: number
  /**
   * Nobody can tell yet: even the safest date of the cycle's ideal days is not safe. Ask, or look again nearer the
   * time.
   */
  unsure: boolean
}

/**
 * The collection windows of this cycle and the next ones, in order: the protocol's ideal days, counted from the
 * likeliest first day of each cycle. As the chance of a day to avoid spreads from cycle to cycle a window honestly
 * narrows to its safe dates, and at last is called unsure. Empty where cycles play no part, or nothing says where the
 * patient is in one.
 *
 * @param asOf today
 * @param count how many cycles, this one among them
 */
export function cycleWindows(history: CycleHistory, protocol: Timing, asOf: CalendarDate, count = 3): CycleWindow[] {
  const situation = assess(history, asOf)
  if (situation === null || situation.anchors.length === 0 || protocol.avoidDays === null) return []
  const path = expectPath(situation.belief, situation.anchors, situation.total)
  const starts = startsOf(path, dayNumber(asOf, 'asOf'), count)
  const { first, last } = protocol.idealWindow
  const range = { from: calendarDate(starts[0]! + first - 1), to: calendarDate(starts.at(-1)! + last - 1) }
  const days = forecastDays(history, range, protocol, asOf)
  const offset = dayNumber(range.from)
  return starts.map((start) => windowOf(start, protocol, days, offset))
}

/** Likeliest first days of the cycle that today lies in, and of those after it. */
function startsOf({ start, next, usual }: Path, today: number, count: number): number[] {
  const starts = [start]
  for (let cycle = 0; starts.length < count || starts.at(-1)! <= today; cycle++)
    starts.push(next + Math.round(cycle * usual))
  const current = starts.findLastIndex((each) => each <= today)
  for (let cycle = starts.length - 1; starts.length < current + count; cycle++)
    starts.push(next + Math.round(cycle * usual))
  return starts.slice(Math.max(0, current), Math.max(0, current) + count)
}

function windowOf(
  start: number,
  { idealDay, idealWindow }: Timing,
  days: readonly DayForecast[],
  offset: number,
): CycleWindow {
  const within = days.slice(start + idealWindow.first - 1 - offset, start + idealWindow.last - offset)
  const ideal = calendarDate(start + idealDay - 1)
  const safest = within.reduce((best, day) => (day.avoidProbability < best.avoidProbability ? day : best))
  const unsure = safest.avoidProbability > RATING_LIMITS.fine
  const dates = unsure ? [safest] : runAround(within, nearestSafe(within, ideal))
  const avoidProbability = Math.max(...dates.map((day) => day.avoidProbability))
  return { from: dates[0]!.date, to: dates.at(-1)!.date, ideal, avoidProbability, unsure }
}

/** Index of the safe date nearest to the ideal one. */
function nearestSafe(within: readonly DayForecast[], ideal: CalendarDate): number {
  const distance = ({ date }: DayForecast) => Math.abs(dayNumber(date) - dayNumber(ideal))
  const safe = within.filter((day) => day.avoidProbability <= RATING_LIMITS.fine)
  return within.indexOf(safe.reduce((best, day) => (distance(day) < distance(best) ? day : best)))
}

/** The unbroken run of safe dates about one of them. */
function runAround(within: readonly DayForecast[], index: number): DayForecast[] {
  const isSafe = (at: number) => within[at] !== undefined && within[at].avoidProbability <= RATING_LIMITS.fine
  let [from, to] = [index, index]
  while (isSafe(from - 1)) from--
  while (isSafe(to + 1)) to++
  return within.slice(from, to + 1)
}
