import { DateTime } from 'luxon'
import { questionFor } from './question.ts'
import { addDays, calendarDate, dayNumber } from './days.ts'
import { regularityOf } from './figo.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import { nextStart } from './next-start.ts'
import { withoutCycle } from './no-cycle.ts'
import { likeliestStart } from './path.ts'
import { RATING_LIMITS } from './rating.ts'
import { decideMove, type MoveDecision } from './move-rule.ts'
import { assess } from './situation.ts'
import type { Timing } from './timing.ts'

/** What was decided about a visit, as the desk is told. */
export interface VisitJudgement extends Pick<MoveDecision, 'keep' | 'why' | 'worthACall' | 'cost' | 'forecast'> {
  /** The forecast cannot tell: see `rating.ts`. */
  unsure: boolean
  /** One plain sentence for the desk. */
  reason: string
}

/** A visit sooner than this after a first day is judged by that period, later by the next. */
const SAME_PERIOD_DAYS = 12

/**
 * A decision with its reason in words.
 *
 * @param asOf today: with it the reason also says when the patient will be asked
 */
export function judgementOf(
  { ranked, ...decision }: MoveDecision,
  history: CycleHistory,
  protocol: Timing,
  asOf?: CalendarDate,
): VisitJudgement {
  const best = ranked[0]?.avoidProbability
  const reason = reasonFor({ ...decision, best }, history, protocol, asOf)
  return { ...decision, unsure: decision.forecast.rating === 'unsure', reason }
}

/** How good a date is by itself, with no opening to compare it with. */
export function judgeDate(
  history: CycleHistory,
  date: CalendarDate,
  protocol: Timing,
  asOf?: CalendarDate,
): VisitJudgement {
  const judged = judgementOf(decideMove({ history, booked: date, protocol, asOf }, []), history, protocol, asOf)
  if (judged.why !== 'nothing-better') return judged
  const risk = riskOf(judged.forecast, history, protocol, asOf)
  const reason = judged.unsure
    ? `Unsure: ${risk}. ${adviceFor(history, date, protocol, asOf)}`
    : `Not a good time: ${risk}.`
  return { ...judged, reason }
}

interface Finding extends Pick<MoveDecision, 'why' | 'forecast'> {
  /** Chance of a day to avoid on the best opening. */
  best?: number | undefined
}

function reasonFor({ why, forecast, best = 0 }: Finding, history: CycleHistory, protocol: Timing, asOf?: CalendarDate) {
  const risk = () => riskOf(forecast, history, protocol, asOf)
  switch (why) {
    case 'any-day':
      return withoutCycle(history) ?? 'Keep: any day will do for this specimen.'
    case 'good-time':
      return `Keep: the visit is on about day ${forecast.cycleDay} of the cycle, ${whereIn(forecast, protocol)}.`
    case 'nothing-better':
      return `Keep for now: ${risk()}, but no free opening is better. ${adviceFor(history, forecast.date, protocol, asOf)}`
    case 'better-free':
      return `Move: ${risk()}. ${saferIsFree(forecast.avoidProbability, best)}`
  }
}

function whereIn({ rating }: DayForecast, { avoidDays }: Timing): string {
  return rating === 'best' ? 'in the ideal window' : `away from days ${avoidDays!.first}-${avoidDays!.last}`
}

/** What may go wrong on that date, and why. */
function riskOf(forecast: DayForecast, history: CycleHistory, { avoidDays }: Timing, asOf?: CalendarDate): string {
  const { avoidProbability, bleedingProbability, date } = forecast
  if (bleedingProbability >= RATING_LIMITS.bleeding && avoidProbability < RATING_LIMITS.avoid)
    return 'the patient will probably still be bleeding on that day'
  const falls = avoidProbability >= RATING_LIMITS.avoid ? 'probably falls' : 'may fall'
  const days = `days ${avoidDays!.first}-${avoidDays!.last}`
  return `${becauseOf(history, date, asOf)}, so the visit ${falls} on ${days} of the cycle (${chanceOf(avoidProbability)})`
}

function saferIsFree(booked: number, best: number): string {
  const [now, then] = [booked, best].map((chance) => Math.max(1, Math.round(chance * 100)))
  return now === then
    ? 'A better time is free.'
    : `A better time is free: it lowers the chance of a day to avoid from ${now} to ${then} in 100.`
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
  const ask = asOf === undefined ? null : questionFor({ history, visit, asOf, protocol })
  return ask === null
    ? 'Ask the patient nearer the time, or agree on another date.'
    : `Ask the patient on ${inWords(ask.on)}, or agree on another date.`
}

function inWords(date: CalendarDate): string {
  return DateTime.fromISO(date, { zone: 'utc' }).setLocale('en').toFormat('d MMMM')
}

/** A chance in words that a desk clerk can repeat; rounding never makes a risk look like none or like certainty. */
function chanceOf(probability: number): string {
  const tenths = Math.min(9, Math.max(1, Math.round(probability * 10)))
  return probability > 0.97 ? 'almost certain' : `about ${tenths} ${tenths === 1 ? 'chance' : 'chances'} in 10`
}
