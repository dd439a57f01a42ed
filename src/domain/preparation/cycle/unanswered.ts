import { possibleAnswers } from './answers.ts'
import { COSTS, costOfDay, USUAL_MOVE } from './costs.ts'
import { addDays, dayNumber } from './days.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { CHECK_DAYS, lastDayToAsk, valueOfAsking, type QuestionRequest } from './question.ts'
import { assess } from './situation.ts'

/**
 * When to put the question once more that was put on `askedOn`; null where that would be too late, or what is known by
 * now makes it worth nothing.
 */
export function againAfter(
  askedOn: CalendarDate,
  { history, visit, asOf, protocol }: QuestionRequest,
): CalendarDate | null {
  const situation = assess(history, asOf)
  if (situation === null || protocol.avoidDays === null || toldSince(history, askedOn)) return null
  const [again, day] = [dayNumber(askedOn, 'askedOn') + CHECK_DAYS.toRepeat, dayNumber(visit, 'visit')]
  if (again > lastDayToAsk(day, protocol) || again < dayNumber(asOf, 'asOf')) return null
  return valueOfAsking(situation, again, day, protocol) > COSTS.question ? addDays(askedOn, CHECK_DAYS.toRepeat) : null
}

/** Whether what the answers had today would save, by moving the visit where they say so, is more than a call costs. */
export function isWorthACall({ history, visit, asOf, protocol }: QuestionRequest): boolean {
  const situation = assess(history, asOf)
  if (situation === null || protocol.avoidDays === null) return false
  const answers = possibleAnswers(situation, dayNumber(asOf, 'asOf'), dayNumber(visit, 'visit'), protocol)
  const saved = answers.reduce(
    (sum, { probability, badToo }) => sum + Math.max(0, costOfDay(protocol) * badToo - probability * USUAL_MOVE),
    0,
  )
  return saved >= COSTS.call
}

/** Whether something was told of the cycle on that day or later. */
export function toldSince(history: CycleHistory, day: CalendarDate): boolean {
  const { lmp, toldOn, startedOn, notStartedBy, endedOn, stillBleedingOn } = history
  const told = [lmp, toldOn, startedOn, notStartedBy, endedOn, stillBleedingOn]
  return told.some((date) => date !== undefined && date >= day)
}
