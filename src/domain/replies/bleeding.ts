import { daysBetween } from '../preparation/cycle/days.ts'
import type { CalendarDate, CycleHistory } from '../preparation/cycle/history.ts'
import { mayHavePeriod } from '../preparation/cycle/no-cycle.ts'
import type { Reading } from './reading.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'

/** A bleed of more than so many days is prolonged: FIGO 2018 System 1 (Munro, IJGO 143:393), as a manual cites it. */
const LONGEST_BLEED = 8
/** Between these the days since the last start are a long bleed rather than the next period. Judgement, no source. */
const NEXT_PERIOD_FROM = 21
/** Bleeding after twelve months without is bleeding after menopause: common practice, no source. */
const YEAR_DAYS = 365
/** From this age on bleeding is for a clinician to hear of first. Judgement, no source. */
const AGE = 55

/** Whether it tells of blood or of a period, in a meaning or only in words. */
export function tellsOfBlood({ meaning, ofBlood }: Reading): boolean {
  return ofBlood === true || REPLY_MEANINGS[meaning].bleeding === 'told'
}

/**
 * Whether what is told of bleeding may be more than a period that began, by its words or by what is known of the
 * patient. Then a clinician hears of it today and the visit stays. It is no diagnosis, and nothing of it is said to the
 * patient.
 */
export function isMoreThanAPeriod(reading: Reading, history: CycleHistory, today: CalendarDate): boolean {
  if (reading.clinical === 'bleeding') return true
  if (REPLY_MEANINGS[reading.meaning].bleeding !== 'told') return false
  if (!mayHavePeriod(history) || (history.age ?? 0) >= AGE) return true
  return isLongBleed(reading, history, today) || isAfterAYear(reading, history)
}

function isLongBleed({ meaning, endedOn }: Reading, { lmp }: CycleHistory, today: CalendarDate): boolean {
  if (lmp === undefined || meaning === 'period-started') return false
  const days = daysBetween(lmp, endedOn ?? today) + 1
  return days > LONGEST_BLEED && days < NEXT_PERIOD_FROM
}

function isAfterAYear({ meaning, startedOn }: Reading, { lmp }: CycleHistory): boolean {
  return (
    meaning === 'period-started' &&
    lmp !== undefined &&
    startedOn !== undefined &&
    daysBetween(lmp, startedOn) > YEAR_DAYS
  )
}
