import { type Anchor, findAnchors, waitLikelihood } from './anchors.ts'
import { type Belief, believe } from './belief.ts'
import { dayNumber } from './days.ts'
import { type Evidence, sortEvidence } from './evidence.ts'
import type { CalendarDate, CycleHistory } from './history.ts'
import { hasCycles } from './no-cycle.ts'

/** All that is believed of one patient: what kind of cycle it may be, and where in the cycle the patient may stand. */
export interface Situation {
  evidence: Evidence
  belief: Belief
  /** Empty when nothing says where the current cycle began. */
  anchors: Anchor[]
  /** Probability of the evidence; divides the anchors' weights. */
  total: number
}

/** What a history says, or null when cycles play no part. */
export function assess(history: CycleHistory, asOf?: CalendarDate): Situation | null {
  if (!hasCycles(history)) return null
  const { evidence } = sortEvidence(history, asOf === undefined ? Infinity : dayNumber(asOf, 'asOf'))
  const belief = believe(history, evidence)
  const anchors = findAnchors(evidence)
  const total = anchors.reduce((sum, anchor) => sum + anchor.weight * waitLikelihood(belief, anchor), 0)
  return { evidence, belief, anchors, total }
}

/** Rate at which periods start when nothing says where the patient is: one in a mean cycle. */
export function evenRate({ cells, weights }: Belief): number {
  return 1 / cells.reduce((mean, cell, i) => mean + weights[i]! * cell.mean, 0)
}
