import { forecastDays } from './forecast.ts'
import { addDays } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import type { Timing } from './timing.ts'

/** Runs of dates rated best or fine, both ends included, in order. For the desk when it books or moves a visit. */
export function goodDates(
  history: CycleHistory,
  range: { from: CalendarDate; to: CalendarDate },
  protocol: Timing,
  asOf?: CalendarDate,
): { from: CalendarDate; to: CalendarDate }[] {
  const runs: { from: CalendarDate; to: CalendarDate }[] = []
  for (const { date, rating } of forecastDays(history, range, protocol, asOf)) {
    if (rating !== 'best' && rating !== 'fine') continue
    const last = runs.at(-1)
    if (last && addDays(last.to, 1) === date) last.to = date
    else runs.push({ from: date, to: date })
  }
  return runs
}
