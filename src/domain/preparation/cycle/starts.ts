import { type Anchor, bleedSaid, waitLikelihood } from './anchors.ts'
import type { Belief } from './belief.ts'
import type { BleedSaid } from './bleed.ts'
import { type Cell, HORIZON_DAYS } from './cells.ts'
import { expectPath, type Path } from './path.ts'
import { SHORTEST_MODELLED_DAYS } from './published.ts'
import { evenRate, type Situation } from './situation.ts'

/** Where periods start over a range of days. */
export interface Starts {
  /** Known or possible starts of the current cycle, with their probabilities and what was said about their bleed. */
  current: { day: number; probability: number; said: BleedSaid }[]
  /** Probability that a period other than the current one starts on a day number of the range. */
  other(day: number): number
  /** The course of the cycles if each period comes on its likeliest date; null when nothing is known. */
  path: Path | null
}

/** Below this chance of having waited so long, subtracting from the whole would lose too many digits. */
const SAFE_TO_SUBTRACT = 1e-3

/** The starts to expect between two day numbers, both included. */
export function expectStarts(situation: Situation, range: { from: number; to: number }): Starts {
  const { evidence, belief, anchors, total } = situation
  if (anchors.length === 0) return evenly(belief)
  const table = addAnchors(range, belief, anchors, total)
  return {
    current: anchors.map((anchor) => ({
      day: anchor.start,
      probability: (anchor.weight * waitLikelihood(belief, anchor)) / total,
      said: bleedSaid(evidence, anchor.start),
    })),
    other: (day) => table[day - range.from]!,
    path: expectPath(belief, anchors, total),
  }
}

/** Nothing says where the patient is: every day is as likely as any other to be a first day. */
function evenly(belief: Belief): Starts {
  const rate = evenRate(belief)
  return { current: [], other: () => rate, path: null }
}

/** Anchors that say nothing of the wait differ only by where they lie: one table serves them all, moved along. */
function addAnchors(
  range: { from: number; to: number },
  belief: Belief,
  anchors: Anchor[],
  total: number,
): Float64Array {
  const table = new Float64Array(range.to - range.from + 1)
  const free = anchors.filter(({ lasted }) => lasted < SHORTEST_MODELLED_DAYS)
  const waiting = anchors.filter(({ lasted }) => lasted >= SHORTEST_MODELLED_DAYS)
  for (const anchor of waiting) addStarts(table, range.from, belief, anchor, anchor.weight / total)
  if (free.length === 1) addStarts(table, range.from, belief, free[0]!, free[0]!.weight / total)
  if (free.length > 1) addMoved(table, range.from, belief, free, total)
  return table
}

function addMoved(table: Float64Array, from: number, belief: Belief, anchors: Anchor[], total: number): void {
  const starts = anchors.map(({ start }) => start)
  const [first, last] = [Math.min(...starts), Math.max(...starts)]
  const shared = new Float64Array(table.length + last - first)
  addStarts(shared, from - last, belief, { start: 0, quietUntil: 0, lasted: 0, goesOn: 1, weight: 1 }, 1)
  for (const { start, weight } of anchors) {
    for (let i = 0; i < table.length; i++) table[i]! += (weight / total) * shared[i + last - start]!
  }
}

function addStarts(table: Float64Array, from: number, { cells, weights }: Belief, anchor: Anchor, share: number): void {
  for (let i = 0; i < cells.length; i++) addCell(table, from, cells[i]!, weights[i]! * share, anchor)
}

/**
 * Adds one kind of cycle's starts: before the current one by the same tables read backwards, after it given the wait so
 * far.
 */
function addCell(
  table: Float64Array,
  from: number,
  cell: Cell,
  weight: number,
  { start, quietUntil, lasted, goesOn }: Anchor,
): void {
  const tabledStart = quietUntil - lasted
  const end = from + table.length
  const after = startsAfter(cell, Math.max(start - from, end - 1 - tabledStart))
  const waited = cell.longer[lasted]!
  for (let day = from; day < Math.min(start, end); day++) table[day - from]! += weight * waited * after(start - day)
  const later = lasted < SHORTEST_MODELLED_DAYS ? after : (days: number) => startsAfterWait(cell, days, lasted)
  for (let day = Math.max(quietUntil + 1, from); day < end; day++)
    table[day - from]! += weight * goesOn * later(day - tabledStart)
}

/** Probability of a start so many days after a known one, for up to `furthest` days. */
function startsAfter(cell: Cell, furthest: number): (days: number) => number {
  const starts = cell.startsTo(Math.min(furthest, HORIZON_DAYS))
  return (days) => (days <= HORIZON_DAYS ? starts[days]! : 1 / cell.mean)
}

/**
 * Probability of having waited `lasted` days without a start and then of one starting `days` after the last: the first
 * of them at any length beyond the wait, or in any later cycle. Exact; summed over whichever side of the wait is
 * shorter.
 */
export function startsAfterWait(cell: Cell, days: number, lasted: number): number {
  if (lasted < SHORTEST_MODELLED_DAYS) return startsAfter(cell, days)(days)
  const waited = cell.longer[lasted]!
  if (days > HORIZON_DAYS) return waited / cell.mean
  const longest = Math.min(days, cell.length.length - 1)
  const fewBefore = lasted - SHORTEST_MODELLED_DAYS < longest - lasted
  if (waited > SAFE_TO_SUBTRACT && fewBefore)
    return Math.max(0, cell.startsTo(days)[days]! - sumOver(cell, SHORTEST_MODELLED_DAYS, lasted, days))
  return sumOver(cell, lasted + 1, longest, days)
}

/** Starts `days` after the last whose first cycle lasted from `first` to `last` days. */
function sumOver(cell: Cell, first: number, last: number, days: number): number {
  const { length } = cell
  const starts = cell.startsTo(days - first)
  let sum = 0
  for (let cycle = first; cycle <= last; cycle++) sum += length[cycle]! * starts[days - cycle]!
  return sum
}
