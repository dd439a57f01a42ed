import { COSTS, costOfDay } from './costs.ts'
import { addDays, dayNumber } from './days.ts'
import { forecastDays } from './forecast.ts'
import { hasCycles } from './no-cycle.ts'
import type { CalendarDate, CycleHistory, DayForecast } from './history.ts'
import type { Timing } from './timing.ts'

/** Openings further than this from a visit are no better time for it, but another visit. */
const FURTHEST_DAYS = 60

export interface MoveRequest {
  history: CycleHistory
  booked: CalendarDate
  protocol: Timing
  /** The patient cannot keep the booked date: every opening comes into question, however good that date is. */
  mustMove?: boolean
  asOf?: CalendarDate | undefined
}

export interface RankedOpening {
  key: string
  date: CalendarDate
  avoidProbability: number
  cycleDay: number | null
  /** 1 = best. */
  rank: number
  /** How much better than the booked date, in units of one spoilt visit; higher is better. */
  score: number
}

/**
 * `any-day`: cycles play no part; `good-time`: no opening could be worth a move; `nothing-better`: none of those there
 * are is; `better-free`: one is.
 */
export type Why = 'any-day' | 'good-time' | 'nothing-better' | 'better-free'

export interface MoveDecision {
  /** Leave the visit where it is: no opening is better enough. */
  keep: boolean
  why: Why
  /**
   * The visit is so badly timed that the desk should speak with the patient, if nothing else mends it. Never where
   * nothing is known of the cycle: then the patient is asked for that first.
   */
  worthACall: boolean
  /** What the booked date costs, in units of one spoilt visit. */
  cost: number
  forecast: DayForecast
  /** Openings that are worth the move, best first; with `mustMove` all of them. */
  ranked: RankedOpening[]
}

/**
 * The one rule of timing: does this visit stay, or which openings are better? Everything that asks so asks here.
 * A date costs its chance of a day to avoid, of bleeding besides, and its distance from the ideal window; a move costs
 * `COSTS.move` and so much a day. An opening is better when it costs less than the booked date, its move included, and
 * may be put to a patient when it is not much worse than a date of which nothing is known.
 * @param weights only to show what another weight would do (`npm run bench -- timing`)
 */
export function decideMove(
  request: MoveRequest,
  openings: readonly { key: string; date: CalendarDate }[],
  weights: { shiftDay?: number } = {},
): MoveDecision {
  const { history, booked, protocol, mustMove = false, asOf } = request
  const forecastOf = forecastAll(history, [booked, ...openings.map(({ date }) => date)], protocol, asOf)
  const forecast = forecastOf(booked)
  const { shiftDay = COSTS.shiftDay } = weights
  const stays = costOf(forecast, protocol)
  const worst = openings.length > 0 ? worstOffered(booked, protocol) : 0
  const ranked = openings
    .map(({ key, date }) => ({ key, day: forecastOf(date) }))
    .map(({ key, day }) => ({
      key,
      day,
      score: stays - costOf(day, protocol) - costOfMove(day.date, booked, shiftDay),
    }))
    .filter(({ day, score }) => (mustMove || score > 0) && day.avoidProbability < worst)
    .sort((a, b) => b.score - a.score || (a.day.date < b.day.date ? -1 : 1))
    .map(({ key, day: { date, avoidProbability, cycleDay }, score }, index) => ({
      ...{ key, date, avoidProbability, cycleDay, rank: index + 1, score },
    }))
  const keep = ranked.every(({ score }) => score <= 0)
  return {
    keep,
    why: whyOf(request, stays, keep),
    worthACall: stays >= COSTS.call && isKnown(history),
    cost: stays,
    forecast,
    ranked,
  }
}

/**
 * Whether the desk must speak with the patient about the time. @param asked a question that may mend it will be asked
 */
export function needsCall({ worthACall, cost }: Pick<MoveDecision, 'worthACall' | 'cost'>, asked: boolean): boolean {
  return worthACall && (!asked || cost * COSTS.unanswered >= COSTS.call)
}

const isKnown = ({ lmp, startedOn }: CycleHistory) => (lmp ?? startedOn) !== undefined

/** A date worse than one of which nothing is known, by as much as a call costs, is better agreed on by telephone. */
function worstOffered(date: CalendarDate, protocol: Timing): number {
  const [unknown] = forecastDays({ status: 'unknown' }, { from: date, to: date }, protocol)
  return unknown!.avoidProbability + COSTS.call
}

function whyOf({ history, protocol }: MoveRequest, stays: number, keep: boolean): Why {
  if (!keep) return 'better-free'
  if (protocol.avoidDays === null || !hasCycles(history)) return 'any-day'
  return stays <= costOfNearest ? 'good-time' : 'nothing-better'
}

/** Less than this and not even a perfect opening on the next day is worth the move. */
const costOfNearest = COSTS.move + COSTS.shiftDay

/** The dates among which an opening may be worth the move; null where none can be. */
export function worthLooking(request: MoveRequest): { from: CalendarDate; to: CalendarDate } | null {
  const { history, booked, protocol, mustMove = false, asOf } = request
  const [forecast] = forecastDays(history, { from: booked, to: booked }, protocol, asOf)
  const stays = costOf(forecast!, protocol)
  if (!mustMove && stays <= costOfNearest) return null
  const days = mustMove ? FURTHEST_DAYS : Math.min(FURTHEST_DAYS, Math.floor((stays - COSTS.move) / COSTS.shiftDay))
  return { from: addDays(booked, -days), to: addDays(booked, days) }
}

/** One forecast over the whole span serves every opening. */
function forecastAll(
  history: CycleHistory,
  dates: CalendarDate[],
  protocol: Timing,
  asOf?: CalendarDate,
): (date: CalendarDate) => DayForecast {
  const ordered = dates.toSorted()
  const range = { from: ordered[0]!, to: ordered.at(-1)! }
  const byDate = new Map(forecastDays(history, range, protocol, asOf).map((day) => [day.date, day]))
  return (date) => byDate.get(date)!
}

function costOf({ avoidProbability, bleedingProbability, cycleDay }: DayForecast, protocol: Timing): number {
  const { idealWindow } = protocol
  const offIdeal = cycleDay === null ? 0 : Math.max(0, idealWindow.first - cycleDay, cycleDay - idealWindow.last)
  const bleeding = Math.max(0, bleedingProbability - avoidProbability)
  const day = costOfDay(protocol)
  return day * (avoidProbability + COSTS.bleeding * bleeding) + COSTS.offIdealDay * offIdeal
}

function costOfMove(date: CalendarDate, booked: CalendarDate, shiftDay: number): number {
  const days = Math.abs(dayNumber(date) - dayNumber(booked))
  return days === 0 ? 0 : COSTS.move + shiftDay * days
}
