import type { Anchor } from './anchors.ts'
import type { Belief } from './belief.ts'
import { LONGEST_MODELLED_DAYS } from './published.ts'
import { remember } from './remember.ts'

/** The course of the cycles if every coming period starts on its likeliest date. */
export interface Path {
  /** Day number of the likeliest first day of the current cycle. */
  start: number
  /** Day number on which the next period has begun with even chances. */
  next: number
  /** The usual cycle length as believed, days. */
  usual: number
}

/** @param total weight of all anchors together, as probability of the evidence */
export function expectPath(belief: Belief, anchors: Anchor[], total: number): Path {
  let usual = 0
  for (let i = 0; i < belief.cells.length; i++) usual += belief.weights[i]! * belief.cells[i]!.location
  return { start: likeliestStart(anchors), next: firstDayReaching(belief, anchors, total / 2), usual }
}

/** Day number on which the current cycle most likely began. */
export function likeliestStart(anchors: Anchor[]): number {
  return anchors.reduce((best, anchor) => (anchor.weight > best.weight ? anchor : best)).start
}

/** Cycle day on a day number: counted from the current start until the next is due, and then in usual cycles. */
export function cycleDayOn({ start, next, usual }: Path, day: number): number {
  if (day >= start && day < next) return day - start + 1
  const since = day >= next ? day - next : day - start
  return Math.floor(since - Math.floor(since / usual) * usual) + 1
}

/**
 * First day number by which the chance that the next period has begun reaches `share` (in units of the anchors'
 * weights).
 */
export function firstDayReaching(belief: Belief, anchors: Anchor[], share: number): number {
  const lengthOf = anyLength(belief)
  let sum = 0
  let day = Math.min(...anchors.map(({ quietUntil }) => quietUntil))
  const last = Math.max(...anchors.map(({ quietUntil, lasted }) => quietUntil - lasted)) + LONGEST_MODELLED_DAYS
  while (sum < share && day < last) {
    day++
    for (const { quietUntil, lasted, weight } of anchors) {
      if (day > quietUntil) sum += weight * lengthOf(day - quietUntil + lasted)
    }
  }
  return day
}

/** Probability of a cycle length in days whatever kind of cycle it is. */
function anyLength({ cells, weights }: Belief): (days: number) => number {
  return remember((days: number) => {
    let sum = 0
    for (let i = 0; i < cells.length; i++) sum += weights[i]! * (cells[i]!.length[days] ?? 0)
    return sum
  })
}
