/** A calendar date without time or zone, `YYYY-MM-DD`. */
export type CalendarDate = string

/** Why a patient has no periods, where it was said. What each means stands in `no-cycle.ts`. */
export const NO_PERIODS_BECAUSE = [
  'after-menopause',
  'breast-feeding',
  'hormonal',
  'uterus-removed',
  'cervix-removed',
] as const
export type NoPeriodsBecause = (typeof NO_PERIODS_BECAUSE)[number]

/**
 * What is known of a patient's cycles. Everything is optional except the status: an unknown LMP is an input, not an
 * error.
 */
export interface CycleHistory {
  /**
   * `cycling`: an LMP was given. `unknown`: the patient could not say. `no-periods` and `pregnant`: cycle logic is
   * skipped, preparation is kept. Whoever bleeds on a schedule of hormones is `cycling`, with `scheduledBleeds`.
   */
  status: 'cycling' | 'unknown' | 'no-periods' | 'pregnant'
  /** Why there are no periods, with `no-periods` only. */
  because?: NoPeriodsBecause
  /** First day of the last menstrual period (cycle day 1). */
  lmp?: CalendarDate
  /** "About": the true first day lies within this many days either side. 0 or missing = exact. */
  lmpGiveDays?: number
  /** The day on which the LMP was told: most likely no newer period had begun by then. */
  toldOn?: CalendarDate
  /** Usual cycle length as stated, in days. */
  usualCycleDays?: number
  /** Regularity as stated. */
  regularity?: 'regular' | 'irregular'
  /** Hormonal contraception with scheduled bleeds (every `usualCycleDays`, 28 if missing). */
  scheduledBleeds?: boolean
  /** Lengths of past cycles in days, oldest first. */
  pastCycleDays?: number[]
  /** First days of earlier periods. */
  pastStarts?: CalendarDate[]
  /** Age in whole years. */
  age?: number
  /** Evidence from replies: a new period began on this date. */
  startedOn?: CalendarDate
  /** Evidence from replies: no new period had begun up to and including this date. */
  notStartedBy?: CalendarDate
  /** Evidence from replies: the current bleed ended on this date. */
  endedOn?: CalendarDate
  /** Evidence from replies: still bleeding on this date. */
  stillBleedingOn?: CalendarDate
}

export type Rating = 'best' | 'fine' | 'avoid' | 'unsure'

export interface DayForecast {
  date: CalendarDate
  /** Most likely cycle day on that date; null when cycles play no part or nothing is known. */
  cycleDay: number | null
  /** Probability in 0..1 that the date falls on the protocol's days to avoid. */
  avoidProbability: number
  /** Probability in 0..1 of still bleeding on that date. */
  bleedingProbability: number
  rating: Rating
}
