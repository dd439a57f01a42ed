import { addDays, calendarDate, dayNumber, daysBetween } from '../../../src/domain/preparation/cycle/days.ts'
import type { CalendarDate, CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { decideMove } from '../../../src/domain/preparation/cycle/move-rule.ts'
import { questionFor } from '../../../src/domain/preparation/cycle/question.ts'
import { isWorthACall } from '../../../src/domain/preparation/cycle/unanswered.ts'
import { chanceFrom, historyOf, LMP, meanOf, onDaysOneToFive, type Case, type Chance } from './simulated-patients.ts'
import { USUAL_TIMING } from './usual-timing.ts'

export interface Setting {
  told: Parameters<typeof historyOf>[1]
  /** Share of questions that are answered, truly and on the same day. */
  answering: number
  /** Share of weekdays within two weeks of the visit that have a free opening. */
  free: number
  /** In place of `COSTS.shiftDay`. */
  shiftDay?: number
  seed?: number
}

/** What became of visits that were booked without regard to cycles; shares of 0..1, each per visit. */
export interface Outcome {
  forgotten: number
  afterBooking: number
  left: number
  movedAtBooking: number
  shiftDays: number
  questions: number
  movedAgain: number
  calls: number
}

const protocol = { ...USUAL_TIMING, prepHours: 48 }
const DAYS_TO_PREPARE = 4

/** Books each visit, moves it by the rule, asks, and moves it again by the rule where the answer says so. */
export function simulateTiming(cases: readonly Case[], setting: Setting): Outcome {
  const seed = setting.seed ?? 5
  // Each visit has its own chance, for its facts and for its answers: settings are compared on the same visits.
  const ends = cases.flatMap((each, index) => oneVisit(each, setting, chanceFrom(seed + 2 * index)) ?? [])
  const share = (of: (end: (typeof ends)[number]) => number | boolean) => meanOf(ends.map((end) => Number(of(end))))
  return {
    forgotten: share(({ forgotten }) => forgotten),
    afterBooking: share(({ afterBooking }) => afterBooking),
    left: share(({ left }) => left),
    movedAtBooking: share(({ shift }) => shift > 0),
    shiftDays: share(({ shift }) => shift),
    questions: share(({ questions }) => questions),
    movedAgain: share(({ movedAgain }) => movedAgain),
    calls: share(({ call }) => call),
  }
}

function oneVisit(woman: Case, setting: Setting, chance: Chance) {
  const asOf = LMP + Math.floor(chance() * 28)
  // Who books tells the last period that has begun by then.
  if (woman.starts[1]! <= asOf) return null
  const visit = asOf + 6 + Math.floor(chance() * 45)
  const told: CycleHistory = { ...historyOf(woman, setting.told), toldOn: calendarDate(asOf) }
  const open = openingsNear(visit, setting.free, chance)
  const first = moved(told, visit, asOf, open, setting)
  const talk = ask(woman, told, first, asOf, setting.answering, chanceFrom(Math.floor(chance() * 2 ** 32)))
  const last = talk.history ? moved(talk.history, first, talk.on, open, setting) : first
  const isBad = (day: number) => onDaysOneToFive(woman, day)
  return {
    ...{ forgotten: isBad(visit), afterBooking: isBad(first), left: isBad(last) },
    ...{ shift: Math.abs(first - visit), questions: talk.questions, movedAgain: last !== first, call: talk.call },
  }
}

function openingsNear(visit: number, free: number, chance: Chance): number[] {
  const days = Array.from({ length: 29 }, (_, i) => visit - 14 + i).filter((day) => day !== visit)
  // 2 March 2026 is a Monday.
  return days.filter((day) => (((day - LMP) % 7) + 7) % 7 < 5 && chance() < free)
}

/** Where the rule has it at last: the best opening, or where it was. */
function moved(history: CycleHistory, visit: number, asOf: number, open: number[], { shiftDay }: Setting): number {
  const openings = open
    .filter((day) => day >= asOf + DAYS_TO_PREPARE)
    .map((day) => ({ key: String(day), date: calendarDate(day) }))
  const request = { history, booked: calendarDate(visit), protocol, asOf: calendarDate(asOf) }
  const best = decideMove(request, openings, shiftDay === undefined ? {} : { shiftDay }).ranked[0]
  return best ? dayNumber(best.date) : visit
}

interface Talk {
  questions: number
  /** With the answer; absent where none came. */
  history?: CycleHistory
  on: number
  call: boolean
}

function ask(woman: Case, history: CycleHistory, visit: number, asOf: number, answering: number, chance: Chance): Talk {
  const about = { history, visit: calendarDate(visit), asOf: calendarDate(asOf), protocol }
  const dates = questionFor(about)
  const asked = dates === null ? [] : [dates.on, ...(dates.again ? [dates.again] : [])]
  for (const [index, on] of asked.entries())
    if (chance() < answering)
      return { questions: index + 1, history: answered(woman, history, on), on: dayNumber(on), call: false }
  const later = asked.length > 0 && addDays(asked.at(-1)!, 2)
  const call = later !== false && daysBetween(later, about.visit) > 0 && isWorthACall({ ...about, asOf: later })
  return { questions: asked.length, on: asOf, call }
}

/** The truth on that day. */
function answered({ starts }: Case, history: CycleHistory, on: CalendarDate): CycleHistory {
  const last = starts.findLast((start) => start <= dayNumber(on))!
  return last > LMP ? { ...history, startedOn: calendarDate(last) } : { ...history, notStartedBy: on }
}
