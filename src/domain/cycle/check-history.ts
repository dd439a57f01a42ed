import { dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'

/** One thing wrong with what is known of a patient's cycles. */
export interface HistoryFault {
  field: string
  message: string
}

/** Beyond this an LMP says nothing about the dates of coming periods. Our own limit, no source. */
const OLDEST_LMP_DAYS = 120
/** No cycle is that short: a second bleed sooner is the same period or bleeding between periods. */
export const SHORTEST_CYCLE_DAYS = 15

/** Contradictions and data that cannot be used; empty when fine. */
export function checkHistory(history: CycleHistory, asOf: CalendarDate): HistoryFault[] {
  const today = dayNumber(asOf, 'asOf')
  const faults: HistoryFault[] = []
  for (const field of ['lmp', 'startedOn', 'notStartedBy', 'endedOn', 'stillBleedingOn'] as const) {
    const date = history[field]
    if (date !== undefined && dayNumber(date, field) > today) faults.push({ field, message: 'This date is in the future.' })
  }
  if (history.lmp !== undefined && today - dayNumber(history.lmp, 'lmp') > OLDEST_LMP_DAYS)
    faults.push({ field: 'lmp', message: 'This last period is too long ago to forecast from. Ask her again.' })
  return faults
}
