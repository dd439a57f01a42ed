import { LONGEST_MODELLED_DAYS, MISRECORDED, SHORT, SHORTEST_MODELLED_DAYS, SKIPPED_ENTRY, TAIL } from './published.ts'

/** How far ahead single days are tabled; beyond it the starts have spread out evenly. */
export const HORIZON_DAYS = 400

/**
 * One kind of cycle on the grid: a usual length and a variation, with everything that follows from them tabled by day.
 * Tables are indexed by days since a start, so that a forecast only looks up and adds.
 */
export interface Cell {
  /** Middle of the ordinary cycles, days. */
  location: number
  /** Standard deviation of the ordinary cycles, days. */
  spread: number
  /** Mean of all the cycles, days. */
  mean: number
  /** Probability that a cycle lasts exactly so many days. */
  length: Float64Array
  /** Probability that a cycle lasts longer than so many days. */
  longer: Float64Array
  /** Probability of a recorded length, which may be two cycles taken for one. */
  recorded: Float64Array
  /** Probability that some period starts so many days after a known start (a renewal process: spread grows cycle by cycle). */
  starts: Float64Array
}

export interface CellShape {
  location: number
  spread: number
  /** Shares of cycles drawn out, cut short, and ending without a bleed so that two count as one. */
  long?: number
  short?: number
  missed?: number
}

/** Tables for one kind of cycle. */
export function tableCell({ location, spread, long = 0, short = 0, missed = 0 }: CellShape): Cell {
  const length = withDoubles(mixLengths(location, spread, long, short), missed)
  const longer = longerThan(length)
  let mean = 0
  length.forEach((p, days) => (mean += p * days))
  const recorded = withDoubles(length, SKIPPED_ENTRY).map((p) => p + MISRECORDED)
  return { location, spread, mean, length, longer, recorded, starts: renew(length) }
}

/** Share of long cycles of a woman whose ordinary cycles vary by `spread` days. */
export function longShare(spread: number): number {
  return Math.min(TAIL.largestShare, TAIL.shareAtTwoDays * (spread / 2) ** TAIL.power)
}

function mixLengths(location: number, spread: number, long: number, short: number): Float64Array {
  const drawnOut = location + spread
  const parts = [
    { share: 1 - long - short, table: overLengths((days) => Math.exp(-0.5 * ((days - location) / spread) ** 2)) },
    { share: long, table: overLengths((days) => (days > drawnOut ? Math.exp(-(days - drawnOut) / TAIL.meanDays) : 0)) },
    {
      share: short,
      table: overLengths((days) => (days >= location - SHORT.toDays && days <= location - SHORT.fromDays ? 1 : 0)),
    },
  ].filter(({ share }) => share > 0)
  return parts[0]!.table.map((_, days) => parts.reduce((sum, { share, table }) => sum + share * table[days]!, 0))
}

/** Probabilities of the modelled lengths by a weight for each. */
function overLengths(weight: (days: number) => number): Float64Array {
  const table = new Float64Array(LONGEST_MODELLED_DAYS + 1)
  for (let days = SHORTEST_MODELLED_DAYS; days <= LONGEST_MODELLED_DAYS; days++) table[days] = weight(days)
  return toOne(table)
}

/** Scaled to sum to 1: what lies beyond the longest modelled is shared out. */
function toOne(table: Float64Array): Float64Array {
  const sum = table.reduce((total, p) => total + p, 0)
  return table.map((p) => p / sum)
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

/** u(0) = 1; u(n) = sum over lengths of f(length) · u(n − length). */
function renew(length: Float64Array): Float64Array {
  const starts = new Float64Array(HORIZON_DAYS + 1)
  starts[0] = 1
  for (let day = 1; day <= HORIZON_DAYS; day++) {
    let sum = 0
    for (let days = SHORTEST_MODELLED_DAYS; days <= Math.min(day, LONGEST_MODELLED_DAYS); days++)
      sum += length[days]! * starts[day - days]!
    starts[day] = sum
  }
  return starts
}
