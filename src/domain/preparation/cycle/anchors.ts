import type { Belief } from './belief.ts'
import { type BleedSaid, likelihoodOf } from './bleed.ts'
import type { Evidence } from './evidence.ts'
import { BLEED, LONGEST_MODELLED_DAYS, TOLD_IS_LATEST } from './published.ts'

/**
 * One way in which the current cycle may have begun. With an exact LMP there is one anchor; "about" or hearsay make
 * several.
 */
export interface Anchor {
  /** Day number of its first day. */
  start: number
  /** No new start up to and including this day; the start itself when nothing is known. */
  quietUntil: number
  /** Days the cycle is known to have lasted, capped where the tables end. */
  lasted: number
  /**
   * Chance that periods go on as the tables have it; the rest is that none comes for now. 1 until the wait is longer
   * than any cycle.
   */
  goesOn: number
  /** Probability of this anchor times that of the evidence under it. */
  weight: number
}

/**
 * Beyond this the tables run thin: a longer wait is read in them as this long, and the chance of a start falls with the
 * square of the wait. Who has waited so long has less and less to expect (amenorrhoea); how fast is judgement, no
 * source.
 */
const LONGEST_WAIT_DAYS = LONGEST_MODELLED_DAYS - 20

/** The anchors the evidence leaves open; empty when nothing says where the current cycle began. */
export function findAnchors(evidence: Evidence): Anchor[] {
  return candidates(evidence).flatMap(({ start, weight }) => {
    const heard = weight * likelihoodOf(bleedSaid(evidence, start))
    return heard > 0
      ? readings(evidence, start).map(({ quietUntil, share }) => anchor(start, quietUntil, heard * share))
      : []
  })
}

/** What was said about the bleed that began at `start`. */
export function bleedSaid({ endedOn, stillBleedingOn }: Evidence, start: number): BleedSaid {
  return {
    ...(endedOn !== undefined && { endedAt: endedOn - start }),
    ...(stillBleedingOn !== undefined && { bledAt: stillBleedingOn - start }),
  }
}

/**
 * Probability of the evidence so far under one anchor: the prior chance of a wait as long as it was, for each kind of
 * cycle.
 */
export function waitLikelihood({ cells, weights }: Belief, { lasted }: Anchor): number {
  return cells.reduce((sum, cell, i) => sum + weights[i]! * cell.longer[lasted]!, 0)
}

function candidates({ lmp, giveDays, endedOn, stillBleedingOn }: Evidence): { start: number; weight: number }[] {
  if (lmp !== undefined) return around(lmp, giveDays, giveDays, (off) => giveDays + 1 - Math.abs(off))
  const bled = endedOn ?? stillBleedingOn
  return bled === undefined ? [] : around(bled, BLEED.longestDays - 1, 0, () => 1)
}

function around(
  day: number,
  before: number,
  after: number,
  weight: (off: number) => number,
): { start: number; weight: number }[] {
  return Array.from({ length: before + after + 1 }, (_, i) => ({ start: day - before + i, weight: weight(i - before) }))
}

/**
 * Asked "has a new one begun?", the patient answers for certain. An LMP that was merely told is usually but not always
 * the latest: with both readings kept, a long overdue start speaks for the second by itself.
 */
function readings({ quietUntil, toldOn }: Evidence, start: number): { quietUntil: number; share: number }[] {
  const sure = Math.max(start, quietUntil ?? start)
  if (toldOn === undefined || toldOn - 1 <= sure) return [{ quietUntil: sure, share: 1 }]
  return [
    { quietUntil: toldOn - 1, share: TOLD_IS_LATEST },
    { quietUntil: sure, share: 1 - TOLD_IS_LATEST },
  ]
}

function anchor(start: number, quietUntil: number, weight: number): Anchor {
  const waited = quietUntil - start
  const lasted = Math.min(waited, LONGEST_WAIT_DAYS)
  return { start, quietUntil, lasted, goesOn: waited > lasted ? (lasted / waited) ** 2 : 1, weight }
}
