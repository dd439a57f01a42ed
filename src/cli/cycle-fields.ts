import * as z from 'zod'
import { calendarDate } from '../domain/preparation/cycle/days.ts'
import type { HistoryFault } from '../domain/preparation/cycle/evidence.ts'
import type { CalendarDate, CycleHistory } from '../domain/preparation/cycle/history.ts'
import type { CycleWindow } from '../domain/preparation/cycle/windows.ts'

export const date = z.iso.date('Write the date as year-month-day, e.g. 2026-03-02.')

/** The fields of a line that say what is known of the cycles; `lmp` may also be "unknown" or "no-periods". */
export const historyFields = {
  lmp: z.union(
    [date, z.enum(['unknown', 'no-periods', 'no periods'])],
    'Give a date as year-month-day, "unknown" or "no-periods".',
  ),
  lmpGiveDays: z.number().min(0).max(60).optional(),
  toldOn: date.optional(),
  usualCycleDays: z.number().min(10, 'Give the usual length in days.').max(200, 'Give the usual length in days.').nullish(),
  regularity: z.enum(['regular', 'irregular']).nullish(),
  scheduledBleeds: z.boolean().nullish(),
  pastCycleDays: z.array(z.number().positive()).max(500).nullish(),
  pastStarts: z.array(date).max(500).nullish(),
  age: z.number().min(0).max(120).nullish(),
  startedOn: date.nullish(),
  notStartedBy: date.nullish(),
  endedOn: date.nullish(),
  stillBleedingOn: date.nullish(),
}
export const historyLine = z.object(historyFields)

/** Six decimals say more than any forecast knows. */
export function round(probability: number): number {
  return Math.round(probability * 1e6) / 1e6
}

/** The windows as every answer shows them. */
export function windowsView(windows: readonly CycleWindow[]): CycleWindow[] {
  return windows.map((each) => ({ ...each, avoidProbability: round(each.avoidProbability) }))
}

/** What a line says of the cycles, in the words of the domain. */
export function toHistory({ lmp, ...rest }: z.infer<typeof historyLine>): CycleHistory {
  const said = Object.fromEntries(Object.entries(rest).filter(([, value]) => value !== null && value !== undefined))
  if (lmp === 'no-periods' || lmp === 'no periods') return { ...said, status: 'no-periods' }
  return lmp === 'unknown' ? { ...said, status: 'unknown' } : { ...said, status: 'cycling', lmp }
}

/** Faults that do not stop an answer; what they name was left out of it. */
export function warnings(faults: HistoryFault[]): { warnings?: HistoryFault[] } {
  return faults.length === 0 ? {} : { warnings: faults }
}

/** A line without "now" is looked at on the day of its latest news, so that nothing in it counts as the future. */
export function latestOf({
  lmp,
  startedOn,
  notStartedBy,
  endedOn,
  stillBleedingOn,
  toldOn,
  pastStarts = [],
}: CycleHistory): CalendarDate {
  const dates = [lmp, startedOn, notStartedBy, endedOn, stillBleedingOn, toldOn, ...pastStarts].filter((day) => day !== undefined)
  return dates.sort().at(-1) ?? calendarDate(0)
}
