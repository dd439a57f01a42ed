import { BLEED } from './published.ts'

/** Index = days bled. Whole days from 1 to the longest modelled. */
const LENGTHS = bleedLengths()
const LONGER = LENGTHS.map((_, days) => LENGTHS.slice(days + 1).reduce((sum, p) => sum + p, 0))

/** What was said about the bleed now under way, in days since its start: 0 = the first day. */
export interface BleedSaid {
  /** Last day of bleeding. */
  endedAt?: number
  /** A day on which the patient still bled. */
  bledAt?: number
}

/** Probability that a period bleeds on the day so many days after its start, given what was said about it. */
export function bleedsOn(sinceStart: number, said: BleedSaid = {}): number {
  if (sinceStart < 0 || sinceStart >= BLEED.longestDays) return 0
  if (said.endedAt !== undefined) return sinceStart <= said.endedAt ? 1 : 0
  const certain = said.bledAt ?? 0
  return sinceStart <= certain ? 1 : LONGER[sinceStart]! / LONGER[certain]!
}

/** How likely it is to be said of a period: a bleed of that length, or one at least that long. */
export function likelihoodOf({ endedAt, bledAt }: BleedSaid): number {
  if (endedAt !== undefined) return LENGTHS[endedAt + 1] ?? 0
  return bledAt === undefined ? 1 : (LONGER[bledAt] ?? 0)
}

function bleedLengths(): number[] {
  const weights = Array.from({ length: BLEED.longestDays + 1 }, (_, days) =>
    days === 0 ? 0 : Math.exp(-0.5 * ((days - BLEED.meanDays) / BLEED.sdDays) ** 2),
  )
  const sum = weights.reduce((total, weight) => total + weight, 0)
  return weights.map((weight) => weight / sum)
}
