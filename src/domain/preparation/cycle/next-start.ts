import { calendarDate } from './days.ts'
import { firstDayReaching } from './path.ts'
import { assess } from './situation.ts'
import type { CalendarDate, CycleHistory } from './history.ts'

/** When the next period is expected to begin, if one comes at all. */
export interface NextStart {
  /** Even chances before and after. */
  likely: CalendarDate
  /** Earliest and latest dates that hold `share` of the probability, the rest split evenly. */
  from: CalendarDate
  to: CalendarDate
}

/**
 * When the next period begins, or null when nothing is known or cycles play no part.
 *
 * @param share probability that the dates given hold it, e.g. 0.8
 */
export function nextStart(history: CycleHistory, share = 0.8, asOf?: CalendarDate): NextStart | null {
  const situation = assess(history, asOf)
  if (situation === null || situation.anchors.length === 0) return null
  const at = (chance: number): CalendarDate =>
    calendarDate(firstDayReaching(situation.belief, situation.anchors, chance * situation.total))
  return { likely: at(0.5), from: at((1 - share) / 2), to: at((1 + share) / 2) }
}
