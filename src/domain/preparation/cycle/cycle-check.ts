import type { Protocol } from '../protocol.ts'
import { possibleAnswers } from './answers.ts'
import { calendarDate, dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { assess, type Situation } from './situation.ts'
import type { Timing } from './timing.ts'

export interface CycleCheckRequest {
  history: CycleHistory
  visit: CalendarDate
  asOf: CalendarDate
  /** `prepHours` defaults to 48. */
  protocol: Timing & Partial<Pick<Protocol, 'prepHours'>>
}

/** Judgement, no source; in units of one spoilt visit. */
export const CHECK_WEIGHTS = {
  /** Trouble of a move, with the small risk that remains after it. */
  move: 0.12,
  /** A question is a burden too: it must save this much. */
  worthAsking: 0.02,
  /** Days for the answer and for the desk to agree a new time, before preparation for it begins. */
  daysToMove: 2,
  /** Moves are looked for within so many days of the visit. */
  reachDays: 7,
  /** No earlier than this before the visit: an earlier answer soon goes stale. */
  earliestDays: 14,
} as const

/**
 * The date on which to ask "has your period started?", or null when no answer is worth the question or none could come in time.
 *
 * With `P` the chance that the visit falls on a day to avoid, the patient loses `min(P, move)` without asking: the lesser of keeping and
 * moving. Asked on day t, each answer a comes with chance p(a) and leaves P(a), so the patient loses `sum p(a) · min(P(a), move)`:
 *
 *     value(t) = min(P, move) − sum over a of p(a) · min(P(a), move)        never negative, and grows with t
 *     left(t)  = share of the dates within 7 days of the visit that can still be prepared for when the answer is in
 *     ask on the day with the largest value(t) · left(t), the later of equals
 *
 * Example: LMP 2 March, usual 29 d, visit 8 April: P is 0.08. "Started on 31 March" makes it 0, "not yet" on 3 April about 0.4,
 * so an answer on 3 April is worth most: on 29 March it would nearly always be "not yet", on 6 April too late to prepare anew.
 */
export function cycleCheckDate({ history, visit, asOf, protocol }: CycleCheckRequest): CalendarDate | null {
  const situation = assess(history, asOf)
  if (situation === null || protocol.avoidDays === null) return null
  const [day, today] = [dayNumber(visit, 'visit'), dayNumber(asOf, 'asOf')]
  const prepDays = Math.ceil((protocol.prepHours ?? 48) / 24)
  const latest = day - prepDays - CHECK_WEIGHTS.daysToMove
  let best: { asked?: number; worth: number } = { worth: CHECK_WEIGHTS.worthAsking }
  for (let asked = Math.max(today + 1, day - CHECK_WEIGHTS.earliestDays); asked <= latest; asked++) {
    const worth = valueOfAsking(situation, asked, day, protocol) * datesLeft(asked, day, prepDays)
    if (worth >= best.worth) best = { asked, worth }
  }
  return best.asked === undefined ? null : calendarDate(best.asked)
}

function valueOfAsking(situation: Situation, asked: number, visit: number, protocol: Timing): number {
  const answers = possibleAnswers(situation, asked, visit, protocol)
  const { move } = CHECK_WEIGHTS
  const unasked = answers.reduce((sum, { badToo }) => sum + badToo, 0)
  const answered = answers.reduce((sum, { probability, badToo }) => sum + Math.min(badToo, probability * move), 0)
  return Math.min(unasked, move) - answered
}

function datesLeft(asked: number, visit: number, prepDays: number): number {
  const { reachDays, daysToMove } = CHECK_WEIGHTS
  const first = asked + daysToMove + prepDays
  return Math.min(1, (visit + reachDays - first + 1) / (2 * reachDays + 1))
}
