import { Cell, longShare } from './cells.ts'
import {
  AGE_IF_UNKNOWN,
  EXTRA_SPREAD_IF_AGE_UNKNOWN,
  SCHEDULED,
  SHORT,
  TAIL,
  USUAL_LENGTH_BY_AGE,
  VARIATION_BY_AGE,
  WOMEN,
} from './published.ts'
import { remember } from './remember.ts'

/** Every kind of cycle considered, and how many of them there are before anything but age is known. */
export interface Grid {
  cells: readonly Cell[]
  /** Sums to 1. */
  weights: Float64Array
}

/** Usual lengths: close together where most people are, further apart where few are. */
const LOCATIONS = [...steps(20, 38, 0.75), 39.5, 41, 43, 45, 48, 51, 55, 60, 66, 73, 80]
/** Variations, each about 1.4 times the one before, so that equal steps on the log scale weigh equally. */
const SPREADS = [1.1, 1.56, 2.22, 3.15, 4.47, 6.35, 9, 12.8]

const naturalCells = remember((_all: 'natural') =>
  LOCATIONS.flatMap((location) =>
    SPREADS.map((spread) => new Cell({ location, spread, long: longShare(spread), short: SHORT.share })),
  ),
)
const naturalWeights = remember((age: number | undefined) =>
  normalise(naturalCells('natural').map((cell) => density(cell, age) * widthAt(cell.location))),
)
const scheduledCells = remember((usual: number) => [
  ...SCHEDULED.shifts.map(
    (shift) => new Cell({ location: usual + shift, spread: SCHEDULED.spread, missed: SCHEDULED.missedBleed }),
  ),
  // Who has stopped may wait for any time; without this kind a long wait would be impossible.
  new Cell({ location: usual, spread: SPREADS.at(-1)!, long: TAIL.largestShare }),
])

/** Women with natural cycles. Age in whole years, if known. */
export function naturalGrid(age?: number): Grid {
  return {
    cells: naturalCells('natural'),
    weights: naturalWeights(age === undefined ? undefined : Math.round(Math.min(55, Math.max(15, age)))),
  }
}

/** Women whose contraception brings on a bleed every `usual` days. */
export function scheduledGrid(usual: number = SCHEDULED.usual): Grid {
  return {
    cells: scheduledCells(Math.round(usual)),
    weights: Float64Array.of(...SCHEDULED.shiftShares, SCHEDULED.stopped),
  }
}

/** Scales weights to sum to 1. */
export function normalise(weights: ArrayLike<number>): Float64Array {
  let sum = 0
  for (let i = 0; i < weights.length; i++) sum += weights[i]!
  const scaled = new Float64Array(weights.length)
  for (let i = 0; i < weights.length; i++) scaled[i] = weights[i]! / sum
  return scaled
}

function density({ location, spread }: Cell, age: number | undefined): number {
  const middle = between(USUAL_LENGTH_BY_AGE, age ?? AGE_IF_UNKNOWN)
  const variation = between(VARIATION_BY_AGE, age ?? AGE_IF_UNKNOWN)
  const ages = age === undefined ? EXTRA_SPREAD_IF_AGE_UNKNOWN : 0
  let sum = 0
  for (const { share, shift, betweenSd, withinMedian, withinLogSd } of WOMEN) {
    const atLocation = bell(location, middle + shift, Math.hypot(betweenSd, ages))
    sum += share * atLocation * bell(Math.log(spread), Math.log(withinMedian * variation), withinLogSd)
  }
  return sum
}

function bell(x: number, mean: number, sd: number): number {
  return Math.exp(-0.5 * ((x - mean) / sd) ** 2) / sd
}

function widthAt(location: number): number {
  const i = LOCATIONS.indexOf(location)
  return ((LOCATIONS[i + 1] ?? location) - (LOCATIONS[i - 1] ?? location)) / 2
}

/** Straight lines between the points of a table; level beyond its ends. */
function between(table: readonly (readonly [number, number])[], x: number): number {
  const next = table.findIndex(([at]) => at >= x)
  if (next <= 0) return (next === 0 ? table[0]! : table.at(-1)!)[1]
  const [x0, y0] = table[next - 1]!
  const [x1, y1] = table[next]!
  return y0 + ((y1 - y0) * (x - x0)) / (x1 - x0)
}

function steps(from: number, to: number, by: number): number[] {
  return Array.from({ length: Math.round((to - from) / by) + 1 }, (_, i) => from + i * by)
}
