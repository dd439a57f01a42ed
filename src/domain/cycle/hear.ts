import { daysBetween } from './days.ts'
import { SHORTEST_CYCLE_DAYS } from './evidence.ts'
import type { CalendarDate, CycleHistory } from './history.ts'

/** The history with the evidence worked in; with a contradiction it comes back as it was. */
export interface Heard {
  history: CycleHistory
  contradiction?: string
}

/** "My period started on D": D becomes the LMP, the old LMP joins the past starts, evidence about the old cycle is dropped. */
export function heardStart(history: CycleHistory, startedOn: CalendarDate, asOf: CalendarDate): Heard {
  if (daysBetween(startedOn, asOf) < 0) return { history, contradiction: 'The period is said to have started in the future.' }
  const old = history.lmp
  if (old !== undefined) {
    const days = daysBetween(old, startedOn)
    if (days < 0) return { history, contradiction: 'The period is said to have started before the last period on file.' }
    if (days > 0 && days < SHORTEST_CYCLE_DAYS) return { history, contradiction: `The period is said to have started only ${days} days after the last one.` }
  }
  const rest = { ...history }
  for (const field of ['startedOn', 'notStartedBy', 'endedOn', 'stillBleedingOn', 'lmpGiveDays'] as const) delete rest[field]
  const joins = old !== undefined && old !== startedOn
  return { history: { ...rest, status: 'cycling', lmp: startedOn, ...(joins && { pastStarts: [...(history.pastStarts ?? []), old] }) } }
}

/** "Not started by D", D included. */
export function heardNotStarted(history: CycleHistory, by: CalendarDate): Heard {
  const later = history.notStartedBy === undefined || daysBetween(history.notStartedBy, by) > 0
  return { history: later ? { ...history, notStartedBy: by } : history }
}

/** "The bleeding ended on D." */
export function heardEnded(history: CycleHistory, endedOn: CalendarDate): Heard {
  if (history.lmp !== undefined && daysBetween(history.lmp, endedOn) < 0) return { history, contradiction: 'The bleeding is said to have ended before it began.' }
  return { history: { ...history, endedOn } }
}

/** "Still bleeding on D." */
export function heardStillBleeding(history: CycleHistory, on: CalendarDate): Heard {
  if (history.lmp !== undefined && daysBetween(history.lmp, on) < 0) return { history, contradiction: 'The bleeding is said to go on before it began.' }
  return { history: { ...history, stillBleedingOn: on } }
}
