import { DateTime } from 'luxon'
import { cycleCheckDate } from './cycle-check.ts'
import { addDays, calendarDate, dayNumber } from './days.ts'
import { regularityOf } from './figo.ts'
import { forecastDays } from './forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { nextStart } from './next-start.ts'
import { likeliestStart } from './path.ts'
import { RATING_LIMITS } from './rating.ts'
import { assess } from './situation.ts'
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

/** A visit sooner than this after a first day is judged by that period, later by the next. */
const SAME_PERIOD_DAYS = 12

/**
 * Is this visit well timed? `keep` is true also while it is unsure: a move must be worth its trouble.
 *
 * @param asOf today: with it the reason also says when to ask the patient
 */
export function judgeVisit(history: CycleHistory, date: CalendarDate, protocol: Timing, asOf?: CalendarDate): VisitJudgement {
  const forecast = forecastDays(history, { from: date, to: date }, protocol, asOf)[0]!
  return {
    forecast,
    keep: forecast.rating !== 'avoid',
    unsure: forecast.rating === 'unsure',
    reason: explain(history, forecast, protocol, asOf),
  }
}

function explain(history: CycleHistory, forecast: DayForecast, protocol: Timing, asOf?: CalendarDate): string {
  const { rating, cycleDay, avoidProbability } = forecast
  if (protocol.avoidDays === null) return 'Keep: any day will do for this specimen.'
  if (history.status === 'no-periods') return 'Keep: the patient has no periods, so any day will do; the preparation still matters.'
  const days = `days ${protocol.avoidDays.first}-${protocol.avoidDays.last}`
  if (rating === 'best') return `Keep: the visit is on about day ${cycleDay} of the cycle, in the ideal window.`
  if (rating === 'fine') return `Keep: the visit is on about day ${cycleDay} of the cycle, away from ${days}.`
  if (rating === 'avoid' && avoidProbability < RATING_LIMITS.avoid)
    return 'Move: the patient will probably still be bleeding on that day.'
  const because = becauseOf(history, forecast.date, asOf)
  if (rating === 'avoid')
    return `Move: ${because}, so the visit probably falls on ${days} of the cycle (${chanceOf(avoidProbability)}).`
  const advice = adviceFor(history, forecast.date, protocol, asOf)
  return `Unsure: ${because}, so the visit may fall on ${days} of the cycle (${chanceOf(avoidProbability)}); ${advice}.`
}

function becauseOf(history: CycleHistory, visit: CalendarDate, asOf?: CalendarDate): string {
  const situation = assess(history, asOf)
  const next = nextStart(history, 0.8, asOf)
  if (situation === null || next === null) return 'the last period is not known'
  const began = likeliestStart(situation.anchors)
  const since = dayNumber(visit) - began
  if (since >= 0 && since < SAME_PERIOD_DAYS) return `the period began about ${inWords(calendarDate(began))}`
  const expected =
    visit > addDays(next.to, SAME_PERIOD_DAYS)
      ? 'more than one period is due before then'
      : `the next period is expected between ${inWords(next.from)} and ${inWords(next.to)}`
  return varying(situation.evidence.lengths, history.age) + expected
}

/** Says why the forecast is wide, when the patient's own cycles are the reason. */
function varying(lengths: number[], age: number | undefined): string {
  if (regularityOf(lengths, age) === 'regular') return ''
  return `the cycles have taken ${Math.min(...lengths)} to ${Math.max(...lengths)} days and `
}

function adviceFor(history: CycleHistory, visit: CalendarDate, protocol: Timing, asOf?: CalendarDate): string {
  if (asOf === undefined) return 'ask the patient nearer the time'
  const ask = cycleCheckDate({ history, visit, asOf, protocol })
  return ask === null ? 'a date some days away would be safer' : `ask the patient on ${inWords(ask)}`
}

function inWords(date: CalendarDate): string {
  return DateTime.fromISO(date, { zone: 'utc' }).setLocale('en').toFormat('d MMMM')
}

/** A chance in words that a desk clerk can repeat; rounding never makes a risk look like none or like certainty. */
function chanceOf(probability: number): string {
  const tenths = Math.min(9, Math.max(1, Math.round(probability * 10)))
  return probability > 0.97 ? 'almost certain' : `about ${tenths} ${tenths === 1 ? 'chance' : 'chances'} in 10`
}
