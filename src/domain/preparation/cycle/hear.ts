import { dayNumber } from './days.ts'
import { sortEvidence } from './evidence.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { mayHavePeriod, periodsMayReturn } from './no-cycle.ts'

/** The history with the evidence worked in; with a contradiction it comes back as it was, for a person to ask. */
export interface UpdatedCycle {
  history: CycleHistory
  contradiction?: string
}

type Reply = 'startedOn' | 'notStartedBy' | 'endedOn' | 'stillBleedingOn'

/**
 * "My period started on D": D becomes the LMP, the old LMP joins the past starts, and what was said of the old cycle
 * goes. Within the days of an "about" LMP it is the same period, now dated exactly.
 */
export function heardStart(history: CycleHistory, startedOn: CalendarDate, asOf: CalendarDate): UpdatedCycle {
  if (!mayHavePeriod(history)) {
    const recorded = history.status === 'pregnant' ? 'is pregnant' : 'has no periods'
    return { history, contradiction: `The record says that the patient ${recorded}, but the patient reports a period.` }
  }
  const heard = hear(history, 'startedOn', startedOn, asOf)
  return heard.contradiction === undefined ? { history: asNewCycle(history, startedOn) } : heard
}

/** "Not started by D", D included. An earlier answer of the kind is replaced, never shortened. */
export function heardNotStarted(history: CycleHistory, by: CalendarDate): UpdatedCycle {
  if (history.notStartedBy !== undefined && history.notStartedBy >= by) return { history }
  return hear(history, 'notStartedBy', by)
}

/** "The bleeding ended on D", D being its last day. */
export function heardEnded(history: CycleHistory, endedOn: CalendarDate): UpdatedCycle {
  return hear(withPeriods(history), 'endedOn', endedOn)
}

/** "Still bleeding on D." */
export function heardStillBleeding(history: CycleHistory, on: CalendarDate): UpdatedCycle {
  return hear(withPeriods(history), 'stillBleedingOn', on)
}

/** "I have no periods": none is awaited from now on. What else is known stays. */
export function heardNoPeriods(history: CycleHistory): CycleHistory {
  if (history.status === 'no-periods' || history.status === 'pregnant') return history
  const { pastStarts, pastCycleDays, age } = history
  return {
    status: 'no-periods',
    ...(pastStarts && { pastStarts }),
    ...(pastCycleDays && { pastCycleDays }),
    ...(age !== undefined && { age }),
  }
}

/** Whoever bleeds again after breast-feeding has cycles again; on which day they began is not known yet. */
function withPeriods(history: CycleHistory): CycleHistory {
  if (!periodsMayReturn(history)) return history
  const next: CycleHistory = { ...history, status: 'unknown' }
  delete next.because
  return next
}

/** Adds one answer, unless it contradicts what is on file. */
function hear(history: CycleHistory, reply: Reply, date: CalendarDate, asOf?: CalendarDate): UpdatedCycle {
  const heard: CycleHistory = { ...history, [reply]: date }
  const { faults } = sortEvidence(heard, asOf === undefined ? Infinity : dayNumber(asOf, 'asOf'))
  const fault = faults.find(({ field }) => field === reply)
  return fault === undefined ? { history: heard } : { history, contradiction: fault.message }
}

function asNewCycle(history: CycleHistory, startedOn: CalendarDate): CycleHistory {
  const { lmp: old, lmpGiveDays: give = 0 } = history
  const next: CycleHistory = { ...history, status: 'cycling', lmp: startedOn }
  delete next.because
  const samePeriod = old !== undefined && Math.abs(dayNumber(startedOn) - dayNumber(old, 'lmp')) <= give
  delete next.lmpGiveDays
  if (samePeriod) return next
  for (const field of ['startedOn', 'notStartedBy', 'endedOn', 'stillBleedingOn', 'toldOn'] as const) delete next[field]
  return old === undefined ? next : { ...next, pastStarts: [...(history.pastStarts ?? []), old] }
}
