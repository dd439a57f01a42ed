import { dayNumber } from './days.ts'
import { type HistoryFault, sortEvidence } from './evidence.ts'
import type { CalendarDate, CycleHistory } from './history.ts'

/** After this long without news the LMP no longer says where the patient is: the forecast is nearly even. Judgement, no source. */
const OLDEST_LMP_DAYS = 120
/** Outside this most people have no regular cycles yet, or none any more. Judgement, no source. */
const AGES = { youngest: 9, oldest: 60 }

/** Contradictions and data that cannot be used; empty when fine. What is reported is also left out of the forecast. */
export function checkHistory(history: CycleHistory, asOf: CalendarDate): HistoryFault[] {
  const today = dayNumber(asOf, 'asOf')
  const { evidence, faults } = sortEvidence(history, today)
  const { status, age } = history
  const report = (field: string, message: string): void => void faults.push({ field, message })
  if (status === 'cycling' && history.lmp === undefined && history.startedOn === undefined)
    report('lmp', 'Give the first day of the last period, or say that it is unknown or that the patient has no periods.')
  if (evidence.lmp !== undefined && today - evidence.lmp > OLDEST_LMP_DAYS)
    report('lmp', 'This period is too long ago to forecast from. Ask the patient again, or say that it is unknown.')
  if (age !== undefined && (age < AGES.youngest || age > AGES.oldest))
    report('age', 'At this age no forecast of cycles can be relied on.')
  return faults
}
