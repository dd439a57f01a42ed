import type { CycleHistory, NoPeriodsBecause } from './history.ts'

/** Whether there are cycles to time a visit by, whatever is known of them. */
export function hasCycles({ status }: CycleHistory): boolean {
  return status === 'cycling' || status === 'unknown'
}

/**
 * Whether a clinician must decide that a specimen is wanted at all, and by which protocol. In pregnancy: not taken,
 * says the Royal Marsden Manual (citing WHO); programmes differ. Without a cervix: common practice, no source.
 */
export function isEligibilityOpen({ status, because }: CycleHistory): boolean {
  return status === 'pregnant' || (status === 'no-periods' && because === 'cervix-removed')
}

/**
 * Whether a period may come before the visit, so that the patient is told to tell of it. While breast-feeding they
 * return on a day that nobody can foretell (common practice, no source): until then days play no part, and the first
 * one told is an LMP like any other.
 */
export function mayHavePeriod(history: CycleHistory): boolean {
  return hasCycles(history) || periodsMayReturn(history)
}

/** No periods for now: one that is told is news, and contradicts nothing. */
export function periodsMayReturn({ status, because }: CycleHistory): boolean {
  return status === 'no-periods' && because === 'breast-feeding'
}

const ANY_DAY = 'Keep: the patient has no periods, so any day will do; the preparation still matters.'

const BECAUSE: Partial<Record<NoPeriodsBecause, string>> = {
  'breast-feeding':
    'Keep: no periods while breast-feeding, so any day will do until one comes. Ask the patient to tell you if one does.',
  'cervix-removed':
    'Ask a clinician whether a specimen is wanted at all: the cervix was removed. Days of the cycle play no part.',
}

const PREGNANT =
  'Ask a clinician first: in pregnancy a specimen may not be wanted, or not by this protocol. Days of the cycle play no part.'

/** The sentence for the desk where cycles play no part; null where they do. */
export function withoutCycle(history: CycleHistory): string | null {
  if (history.status === 'pregnant') return PREGNANT
  if (history.status === 'no-periods') return (history.because && BECAUSE[history.because]) ?? ANY_DAY
  return null
}
