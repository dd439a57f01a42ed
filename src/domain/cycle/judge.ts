import { forecastDays } from './forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { RATING_LIMITS } from './rating.ts'
import type { Timing } from './timing.ts'

export interface VisitJudgement {
  forecast: DayForecast
  /** Leave the visit where it is. */
  keep: boolean
  /** The forecast cannot tell yet: a question to the patient before the visit would help. */
  unsure: boolean
  /** One plain sentence for the desk. */
  reason: string
}

/** Is this visit well timed? `keep` is true also while it is unsure: a move must be worth its trouble. */
export function judgeVisit(history: CycleHistory, date: CalendarDate, protocol: Timing, asOf?: CalendarDate): VisitJudgement {
  const forecast = forecastDays(history, { from: date, to: date }, protocol, asOf)[0]!
  return { forecast, keep: forecast.rating !== 'avoid', unsure: forecast.rating === 'unsure', reason: reasonFor(history, forecast, protocol) }
}

function reasonFor(history: CycleHistory, forecast: DayForecast, { avoidDays }: Timing): string {
  if (avoidDays === null) return 'Keep: any day will do for this specimen.'
  if (history.status === 'no-periods') return 'Keep: she has no periods, so any day will do; the preparation still matters.'
  const chance = inTen(forecast.avoidProbability)
  const days = `days ${avoidDays.first}-${avoidDays.last} of her cycle`
  if (forecast.cycleDay === null) return `Unsure: her last period is not known, so the visit falls on ${days} with ${chance}; ask her nearer the time.`
  if (forecast.rating === 'avoid') return `Move: the visit probably falls on ${days} (${chance}).`
  if (forecast.rating === 'unsure') return `Unsure: the visit may fall on ${days} (${chance}); ask her nearer the time.`
  if (forecast.rating === 'best') return `Keep: about day ${forecast.cycleDay} of her cycle, which is in the ideal window.`
  return `Keep: about day ${forecast.cycleDay} of her cycle, away from ${days}.`
}

/** A chance in words that a desk clerk can repeat; rounding never makes a risk look like none. */
function inTen(probability: number): string {
  if (probability < RATING_LIMITS.fine) return 'less than 1 chance in 10'
  return `about ${Math.min(9, Math.max(1, Math.round(probability * 10)))} chances in 10`
}
