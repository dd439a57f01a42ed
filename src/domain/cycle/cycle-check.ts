import { addDays, daysBetween } from './days.ts'
import { judgeVisit } from './judge.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import type { Timing } from './timing.ts'

/** Days between the question and the visit: one for the answer, two to move, two (48 h) to prepare. */
const LEAD_DAYS = 5

/** The date on which to ask "has your period started?", or null when the answer would change nothing or come too late. */
export function cycleCheckDate(asked: { history: CycleHistory; visit: CalendarDate; asOf: CalendarDate; protocol: Timing }): CalendarDate | null {
  const { history, visit, asOf, protocol } = asked
  if (!judgeVisit(history, visit, protocol, asOf).unsure) return null
  const date = addDays(visit, -LEAD_DAYS)
  return daysBetween(asOf, date) > 0 ? date : null
}
