import { dateIn } from '../local-time.ts'
import { COSTS } from '../preparation/cycle/costs.ts'
import type { CycleHistory } from '../preparation/cycle/history.ts'
import { leavesRoom } from '../preparation/deadline.ts'
import type { Protocol } from '../preparation/protocol.ts'
import { type SendingHours } from '../preparation/sending-hours.ts'
import { decideMove, type MoveDecision, type RankedOpening } from '../preparation/cycle/move-rule.ts'

/** As many as one text can list and a person can weigh. */
export const MOST_CHOICES = 3

export interface ChoiceRequest<T> {
  openings: readonly T[]
  at: (opening: T) => Date
  history: CycleHistory
  /** The visit as it stands. */
  visit: Date
  zone: string
  now: Date
  hours: SendingHours
  protocol: Protocol
  /** The patient cannot come at all: then an opening need only be good, not better than what is booked. */
  mustMove: boolean
}

/** An opening with what it is worth to a visit. */
export interface WeighedOpening<T> extends Pick<RankedOpening, 'avoidProbability' | 'cycleDay' | 'rank'> {
  opening: T
}

/** What the rule says of a visit and the openings that leave room to prepare; and those that are put to the patient. */
export function weighOpenings<T>(request: ChoiceRequest<T>): { decision: MoveDecision; chosen: WeighedOpening<T>[] } {
  const { at, visit, zone, now, history, protocol, mustMove } = request
  const openings = withRoom(request)
  const dated = openings.map((opening, index) => ({ key: String(index), date: dateIn(at(opening), zone) }))
  const decision = decideMove(
    { history, booked: dateIn(visit, zone), protocol, mustMove, asOf: dateIn(now, zone) },
    dated,
  )
  const weighed = decision.ranked.map((ranked) => ({ ...ranked, opening: openings[Number(ranked.key)]! }))
  return { decision, chosen: choose(weighed, (opening) => at(opening).getTime()) }
}

/** The later an opening, the more room it leaves: only the first few are asked. */
function withRoom<T>({ openings, at, visit, zone, now, hours, protocol }: ChoiceRequest<T>): T[] {
  const others = openings.filter((opening) => at(opening).getTime() !== visit.getTime())
  const ordered = others.toSorted((a, b) => at(a).getTime() - at(b).getTime())
  const first = ordered.findIndex((opening) => leavesRoom(now, at(opening), protocol.prepHours, zone, hours))
  return first < 0 ? [] : ordered.slice(first)
}

/**
 * The best three, none much worse than the best, listed in order of time so that the patient can compare them with a
 * calendar. Three times on one morning are no choice to somebody who works that morning: different days first.
 */
function choose<T>(ranked: readonly (RankedOpening & { opening: T })[], time: (opening: T) => number) {
  const worst = (ranked[0]?.avoidProbability ?? 0) + COSTS.besideBest
  const near = ranked.filter(({ avoidProbability }) => avoidProbability <= worst)
  const days = new Set<string>()
  const firstOfDay = near.filter(({ date }) => !days.has(date) && days.add(date))
  const chosen = [...firstOfDay, ...near.filter((each) => !firstOfDay.includes(each))].slice(0, MOST_CHOICES)
  const places = chosen.toSorted((a, b) => a.rank - b.rank)
  return chosen
    .sort((a, b) => time(a.opening) - time(b.opening))
    .map((each) => {
      const { opening, avoidProbability, cycleDay } = each
      return { opening, avoidProbability, cycleDay, rank: places.indexOf(each) + 1 }
    })
}
