import type { Protocol } from '../protocol.ts'
import { possibleAnswers } from './answers.ts'
import { COSTS, costOfDay, USUAL_MOVE } from './costs.ts'
import { calendarDate, dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { assess, type Situation } from './situation.ts'
import type { Timing } from './timing.ts'

export interface QuestionRequest {
  history: CycleHistory
  visit: CalendarDate
  asOf: CalendarDate
  /** `prepHours` defaults to 48. */
  protocol: Timing & Partial<Pick<Protocol, 'prepHours'>>
}

/** When to ask "has your period started?". */
export interface QuestionDates {
  on: CalendarDate
  /** Once more, in other words, where no answer has come; null when that would be too late. */
  again: CalendarDate | null
}

/** In days. Judgement, no source. */
export const CHECK_DAYS = {
  /** For the answer and for agreeing on a new time, before preparation for it begins. */
  toMove: 2,
  /** No earlier than this before the last day to ask, so 8 days before a visit with 48 hours: else mostly "not yet". */
  span: 4,
  /** Better openings are looked for within so many days of the visit. */
  reach: 14,
  /** From the question to its repetition. */
  toRepeat: 2,
} as const

/**
 * When to ask, or null when no answer is worth the question or none could come in time.
 *
 * With `P` the chance that the visit falls on a day to avoid, the patient loses `min(P, move)` without asking: the
 * lesser of keeping and moving. Asked on day t, each answer a comes with chance p(a) and leaves P(a), so the patient
 * loses `sum p(a) · min(P(a), move)`:
 *
 *     value(t) = min(P, move) − sum over a of p(a) · min(P(a), move)        never negative, and grows with t
 *     left(t)  = share of the dates near the visit that can still be prepared for when the answer is in
 *     ask on the day with the largest value(t) · left(t), the later of equals, if that is worth a question
 *
 * Example: LMP 2 March, usual 29 d, visit 8 April: P is 0.08. "Started on 31 March" makes it 0, "not yet" on 3 April
 * about 0.4, so an answer on 3 April is worth most: on 31 March it would often be "not yet", on 6 April too late to
 * prepare anew.
 */
export function questionFor({ history, visit, asOf, protocol }: QuestionRequest): QuestionDates | null {
  const situation = assess(history, asOf)
  if (situation === null || protocol.avoidDays === null) return null
  const [day, today] = [dayNumber(visit, 'visit'), dayNumber(asOf, 'asOf')]
  const latest = lastDayToAsk(day, protocol)
  let best: { on?: number; worth: number } = { worth: COSTS.question }
  for (let on = Math.max(today + 1, latest - CHECK_DAYS.span); on <= latest; on++) {
    const worth = valueOfAsking(situation, on, day, protocol) * datesLeft(on, day, prepDays(protocol))
    if (worth >= best.worth) best = { on, worth }
  }
  if (best.on === undefined) return null
  const again = best.on + CHECK_DAYS.toRepeat
  return { on: calendarDate(best.on), again: again <= latest ? calendarDate(again) : null }
}

const prepDays = ({ prepHours = 48 }: QuestionRequest['protocol']) => Math.ceil(prepHours / 24)

/** After this an answer comes too late to agree on another time and to prepare for it. */
export const lastDayToAsk = (visit: number, protocol: QuestionRequest['protocol']): number =>
  visit - prepDays(protocol) - CHECK_DAYS.toMove

/** What an answer given on a day saves, in units of a visit on a day to avoid; see `questionFor`. */
export function valueOfAsking(situation: Situation, asked: number, visit: number, protocol: Timing): number {
  const answers = possibleAnswers(situation, asked, visit, protocol)
  const day = costOfDay(protocol)
  const unasked = answers.reduce((sum, { badToo }) => sum + day * badToo, 0)
  const saved = answers.map(({ probability, badToo }) => Math.min(day * badToo, probability * USUAL_MOVE))
  const answered = saved.reduce((sum, each) => sum + each, 0)
  return Math.min(unasked, USUAL_MOVE) - answered
}

function datesLeft(asked: number, visit: number, days: number): number {
  const { reach, toMove } = CHECK_DAYS
  const first = asked + toMove + days
  return Math.min(1, (visit + reach - first + 1) / (2 * reach + 1))
}
