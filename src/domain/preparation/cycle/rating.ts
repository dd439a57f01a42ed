import type { DayForecast, Rating } from './history.ts'
import type { Timing } from './timing.ts'

/**
 * The limits behind the ratings, as probabilities of a day to avoid. Our own judgement, no source: one date in six is a
 * day to avoid when nothing is known (5 of about 29), so `avoid` is at least double that and `fine` is well under half
 * of it.
 */
export const RATING_LIMITS = { avoid: 0.35, fine: 0.08, bleeding: 0.5 } as const

/** Rates one date. A date counts as best when it is safe and its likely cycle day lies in the ideal window. */
export function rate(
  day: Pick<DayForecast, 'cycleDay' | 'avoidProbability' | 'bleedingProbability'>,
  protocol: Timing,
): Rating {
  if (protocol.avoidDays !== null) {
    if (day.avoidProbability >= RATING_LIMITS.avoid || day.bleedingProbability >= RATING_LIMITS.bleeding) return 'avoid'
    if (day.avoidProbability > RATING_LIMITS.fine) return 'unsure'
  }
  const { first, last } = protocol.idealWindow
  return day.cycleDay !== null && day.cycleDay >= first && day.cycleDay <= last ? 'best' : 'fine'
}
