import type { Cell } from './cells.ts'
import type { Evidence } from './evidence.ts'
import { type Grid, naturalGrid, normalise, scheduledGrid } from './grid.ts'
import type { CycleHistory } from './history.ts'
import { SAYS_28, SAYS_IRREGULAR, STATED } from './published.ts'
import { remember } from './remember.ts'

/** More past cycles than this add nothing: women drift. Two years or so. */
const PAST_CYCLES_USED = 24
/** Kinds of women less likely than this, compared with the likeliest, are dropped to save time. */
const NEGLIGIBLE = 1e-4

/** What is believed of the cycles: the kinds of cycle it may be, with weights that sum to 1. */
export interface Belief {
  cells: Cell[]
  weights: Float64Array
}

/**
 * Bayes' rule on the grid: the population of the patient's age, times the likelihood of each thing the patient said and
 * of each past cycle.
 */
export function believe(
  history: CycleHistory,
  { usualDays, lengths }: Pick<Evidence, 'usualDays' | 'lengths'>,
): Belief {
  const grid = history.scheduledBleeds ? scheduledGrid(usualDays) : naturalGrid(history.age)
  const weights = grid.weights.slice()
  if (!history.scheduledBleeds) hearStated(weights, usualDays, history.regularity)
  for (const days of lengths.slice(-PAST_CYCLES_USED)) {
    const rounded = Math.round(days)
    for (let i = 0; i < weights.length; i++) weights[i]! *= grid.cells[i]!.recorded[rounded]!
  }
  return withoutNegligible(grid, weights)
}

const ofSayingLength = remember((stated: number) =>
  Float64Array.from(naturalGrid().cells, ({ location }) => saysLength(stated, location)),
)
const ofSayingRegularity = remember((stated: 'regular' | 'irregular') =>
  Float64Array.from(naturalGrid().cells, ({ spread }) => saysRegularity(stated, spread)),
)

function hearStated(
  weights: Float64Array,
  usualDays: number | undefined,
  regularity: CycleHistory['regularity'],
): void {
  // Half days are kept apart, finer differences are not: so there are few tables to remember.
  if (usualDays !== undefined) multiply(weights, ofSayingLength(Math.round(usualDays * 2) / 2))
  if (regularity !== undefined) multiply(weights, ofSayingRegularity(regularity))
}

function multiply(weights: Float64Array, by: Float64Array): void {
  for (let i = 0; i < weights.length; i++) weights[i]! *= by[i]!
}

/** How likely a woman whose cycles are `usual` days long is to say `stated`. */
function saysLength(stated: number, usual: number): number {
  const error = stated - usual - STATED.bias
  const careful =
    STATED.knowsShare * bell(error, STATED.knowsSd) + (1 - STATED.knowsShare) * bell(error, STATED.guessSd)
  const says28 = SAYS_28.share * Math.exp(-0.5 * ((usual - 28) / SAYS_28.reachSd) ** 2)
  return (1 - says28) * careful + (Math.round(stated) === 28 ? says28 : 0)
}

function saysRegularity(regularity: 'regular' | 'irregular', spread: number): number {
  const { least, rise, halfwaySd } = SAYS_IRREGULAR
  const irregular = least + (rise * spread ** 2) / (spread ** 2 + halfwaySd ** 2)
  return regularity === 'irregular' ? irregular : 1 - irregular
}

function bell(x: number, sd: number): number {
  return Math.exp(-0.5 * (x / sd) ** 2) / (sd * Math.sqrt(2 * Math.PI))
}

function withoutNegligible({ cells }: Grid, weights: Float64Array): Belief {
  const limit = NEGLIGIBLE * weights.reduce((most, weight) => Math.max(most, weight), 0)
  const kept: Cell[] = []
  const shares: number[] = []
  weights.forEach((weight, i) => {
    if (weight < limit) return
    kept.push(cells[i]!)
    shares.push(weight)
  })
  return { cells: kept, weights: normalise(shares) }
}
