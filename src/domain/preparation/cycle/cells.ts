import { LONGEST_MODELLED_DAYS, MISRECORDED, SHORT, SHORTEST_MODELLED_DAYS, SKIPPED_ENTRY, TAIL } from './published.ts'

/** How far ahead single days are tabled; beyond it the starts have spread out evenly. */
export const HORIZON_DAYS = 400

export interface CellShape {
  location: number
  spread: number
  /** Shares of cycles drawn out, cut short, and ending without a bleed so that two count as one. */
  long?: number
  short?: number
  missed?: number
}

/**
 * One kind of cycle on the grid: a usual length and a variation, with everything that follows from them tabled by day.
 * Tables are indexed by days since a start, so that a forecast only looks up and adds. Each is made when it is first
 * asked for: a single forecast, as a command makes it, needs a small part of them.
 */
export class Cell {
  /** Middle of the ordinary cycles, days. */
  readonly location: number
  /** Standard deviation of the ordinary cycles, days. */
  readonly spread: number
  readonly #shape: Required<CellShape>
  #length: Float64Array | undefined
  #longer: Float64Array | undefined
  #recorded: Float64Array | undefined
  #mean: number | undefined
  #starts: Float64Array | undefined
  /** The last day for which `#starts` is filled. */
  #tabledTo = 0

  constructor({ location, spread, long = 0, short = 0, missed = 0 }: CellShape) {
    this.location = location
    this.spread = spread
    this.#shape = { location, spread, long, short, missed }
  }

  /** Probability that a cycle lasts exactly so many days. */
  get length(): Float64Array {
    return (this.#length ??= withDoubles(mixLengths(this.#shape), this.#shape.missed))
  }

  /** Probability that a cycle lasts longer than so many days. */
  get longer(): Float64Array {
    return (this.#longer ??= longerThan(this.length))
  }

  /** Probability of a recorded length, which may be two cycles taken for one. */
  get recorded(): Float64Array {
    return (this.#recorded ??= withDoubles(this.length, SKIPPED_ENTRY).map((p) => p + MISRECORDED))
  }

  /** Mean of all the cycles, days. */
  get mean(): number {
    return (this.#mean ??= this.length.reduce((mean, p, days) => mean + p * days, 0))
  }

  /**
   * Probability that some period starts so many days after a known start (a renewal process: spread grows cycle by
   * cycle).
   */
  get starts(): Float64Array {
    return this.startsTo(HORIZON_DAYS)
  }

  /** `starts`, with no more of it filled than the days up to this one. */
  startsTo(days: number): Float64Array {
    const starts = (this.#starts ??= new Float64Array(HORIZON_DAYS + 1).fill(1, 0, 1))
    if (days > this.#tabledTo) this.#tabledTo = renew(this.length, starts, this.#tabledTo + 1, days)
    return starts
  }
}

/** Share of long cycles of a woman whose ordinary cycles vary by `spread` days. */
export function longShare(spread: number): number {
  return Math.min(TAIL.largestShare, TAIL.shareAtTwoDays * (spread / 2) ** TAIL.power)
}

function mixLengths({ location, spread, long, short }: Required<CellShape>): Float64Array {
  const drawnOut = location + spread
  const mixed = new Float64Array(LONGEST_MODELLED_DAYS + 1)
  addShare(mixed, 1 - long - short, (days) => Math.exp(-0.5 * ((days - location) / spread) ** 2))
  addShare(mixed, long, (days) => (days > drawnOut ? Math.exp(-(days - drawnOut) / TAIL.meanDays) : 0))
  addShare(mixed, short, (days) => (days >= location - SHORT.toDays && days <= location - SHORT.fromDays ? 1 : 0))
  return mixed
}

function addShare(mixed: Float64Array, share: number, weight: (days: number) => number): void {
  if (share === 0) return
  const table = overLengths(weight)
  for (let days = 0; days < mixed.length; days++) mixed[days]! += share * table[days]!
}

/** Probabilities of the modelled lengths by a weight for each. */
function overLengths(weight: (days: number) => number): Float64Array {
  const table = new Float64Array(LONGEST_MODELLED_DAYS + 1)
  for (let days = SHORTEST_MODELLED_DAYS; days <= LONGEST_MODELLED_DAYS; days++) table[days] = weight(days)
  return toOne(table)
}

/** The table itself, scaled to sum to 1: what lies beyond the longest modelled is shared out. */
function toOne(table: Float64Array): Float64Array {
  let sum = 0
  for (const p of table) sum += p
  for (let days = 0; days < table.length; days++) table[days]! /= sum
  return table
}

/** Lengths when a share of the starts goes unseen, so that two cycles look like one. */
function withDoubles(length: Float64Array, share: number): Float64Array {
  if (share === 0) return length
  const mixed = length.map((p) => p * (1 - share))
  for (let first = SHORTEST_MODELLED_DAYS; first <= LONGEST_MODELLED_DAYS; first++) {
    for (let second = SHORTEST_MODELLED_DAYS; first + second <= LONGEST_MODELLED_DAYS; second++) {
      mixed[first + second]! += share * length[first]! * length[second]!
    }
  }
  return toOne(mixed)
}

function longerThan(length: Float64Array): Float64Array {
  const table = new Float64Array(length.length)
  for (let days = length.length - 2; days >= 0; days--) table[days] = table[days + 1]! + length[days + 1]!
  return table
}

/**
 * Fills a table of starts from one day to another, both included; days before are filled already.
 * u(0) = 1; u(n) = sum over lengths of f(length) · u(n − length).
 * @returns the last day filled
 */
function renew(length: Float64Array, starts: Float64Array, from: number, to: number): number {
  for (let day = from; day <= to; day++) {
    let sum = 0
    for (let days = SHORTEST_MODELLED_DAYS; days <= Math.min(day, LONGEST_MODELLED_DAYS); days++)
      sum += length[days]! * starts[day - days]!
    starts[day] = sum
  }
  return to
}
