import { dayNumber } from './days.ts'
import { type HistoryFault, sortEvidence } from './evidence.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { hasCycles } from './no-cycle.ts'

/**
 * After this long without news the LMP no longer says where the patient is: the forecast is nearly even. Judgement, no
 * source.
 */
const OLDEST_LMP_DAYS = 120
/** Outside this most people have no regular cycles yet, or none any more. Judgement, no source. */
const AGES = { youngest: 9, oldest: 60 }
/**
 * Outside this cycles vary most: by nearly half more under 20, threefold over 50 (Li 2023, npj Digit Med 6:100). The
 * limits themselves are ours.
 */
const STEADY_AGES = { youngest: 16, oldest: 52 }

/**
 * Days after which a period that has not come is for a clinician to ask about. Our own limit; FIGO 2018 calls over 38
 * days infrequent.
 */
export const LATE_AFTER_DAYS = 45

/**
 * Contradictions and data that cannot be used, which are also left out of the forecast, and doubts, which are not;
 * empty when fine.
 */
export function checkHistory(history: CycleHistory, asOf: CalendarDate): HistoryFault[] {
  const today = dayNumber(asOf, 'asOf')
  const { evidence, faults } = sortEvidence(history, today)
  const { status } = history
  const report = (field: string, message: string): void => void faults.push({ field, message })
  if (status === 'cycling' && history.lmp === undefined && history.startedOn === undefined)
    report(
      'lmp',
      'Give the first day of the last period, or say that it is unknown or that the patient has no periods.',
    )
  if (evidence.lmp !== undefined && today - evidence.lmp > OLDEST_LMP_DAYS)
    report('lmp', 'This period is too long ago to forecast from. Ask the patient again, or say that it is unknown.')
  return [...faults, ...doubtsOf(history, evidence.lmp === undefined ? 0 : today - evidence.lmp)]
}

/** @param waited days since the last known start */
function doubtsOf(history: CycleHistory, waited: number): HistoryFault[] {
  if (!hasCycles(history)) return history.because === 'uterus-removed' ? [CERVIX_TOO] : []
  const { age, scheduledBleeds = false } = history
  return [
    ...(age === undefined ? [] : doubtOfAge(age)),
    ...(waited >= LATE_AFTER_DAYS && !scheduledBleeds ? [doubt('lmp', noNewsFor(waited))] : []),
  ]
}

const doubt = (field: string, message: string): HistoryFault => ({ field, message, doubt: true })

/** Common practice, no source. */
const CERVIX_TOO = doubt(
  'because',
  'Ask whether the cervix was removed too: then a clinician decides whether a specimen is wanted.',
)

function doubtOfAge(age: number): HistoryFault[] {
  if (age < AGES.youngest || age > AGES.oldest)
    return [doubt('age', 'At this age no forecast of cycles can be relied on.')]
  if (age < STEADY_AGES.youngest)
    return [doubt('age', 'At this age cycles are often irregular still, so the forecast is less sure than it says.')]
  return age > STEADY_AGES.oldest
    ? [doubt('age', 'At this age cycles are often irregular, or ending, so the forecast is less sure than it says.')]
    : []
}

/** For the desk alone: a text would ask it of whoever holds the telephone. */
function noNewsFor(days: number): string {
  return `No period is known of for ${days} days. Ask, through a clinician and never by text, whether the patient may be pregnant.`
}
