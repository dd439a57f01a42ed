import type { Anchor } from './anchors.ts'
import type { Cell } from './cells.ts'
import { evenRate, type Situation } from './situation.ts'
import { startsAfterWait } from './starts.ts'
import type { Timing } from './timing.ts'

/** One answer to "has your period started, and when?", and what it would make of the visit. */
export interface PossibleAnswer {
  probability: number
  /** Probability of the answer and of the visit falling on a day to avoid. */
  badToo: number
}

/** With no LMP on file the latest start may be this long ago. */
const LOOK_BACK_DAYS = 60
/** What weighs less is dropped to save time. */
const NEGLIGIBLE = 1e-6

/**
 * Every answer that a question on a day may bring: "not yet", or the first day of the latest period. Day numbers
 * throughout. Each is worked out per kind of cycle, so the answer also tells what kind it is.
 */
export function possibleAnswers(
  situation: Situation,
  asked: number,
  visit: number,
  { avoidDays }: Timing,
): PossibleAnswer[] {
  if (avoidDays === null) return []
  const { anchors, belief, total } = situation
  const answers = [notYet(situation, asked, visit, avoidDays)]
  const first =
    anchors.length > 0 ? Math.min(...anchors.map(({ quietUntil }) => quietUntil)) + 1 : asked - LOOK_BACK_DAYS
  const even = anchors.length > 0 ? 0 : evenRate(belief)
  for (let start = first; start <= asked; start++) {
    const answer = { probability: 0, badToo: 0 }
    belief.cells.forEach((cell, i) => {
      const rate = anchors.length > 0 ? startRate(cell, anchors, start) / total : even
      add(answer, cell, belief.weights[i]! * rate, { start, lasted: asked - start }, visit, avoidDays)
    })
    answers.push(answer)
  }
  return answers
}

type Days = { first: number; last: number }

/** "Not yet" does not tell an "about" LMP any better, so it is one answer whatever the anchors. */
function notYet({ belief, anchors, total }: Situation, asked: number, visit: number, avoid: Days): PossibleAnswer {
  const answer = { probability: 0, badToo: 0 }
  for (const { quietUntil, lasted, goesOn, weight } of anchors) {
    const wait = { start: quietUntil - lasted, lasted: lasted + Math.max(0, asked - quietUntil) }
    belief.cells.forEach((cell, i) => {
      const share = (belief.weights[i]! * weight) / total
      add(answer, cell, share * goesOn, wait, visit, avoid)
      // Where none comes for now, none spoils the visit either.
      answer.probability += share * (1 - goesOn) * cell.longer[lasted]!
    })
  }
  return answer
}

/** Adds one kind of cycle: the latest start, quiet since, and a later start just before the visit. */
function add(
  answer: PossibleAnswer,
  cell: Cell,
  weight: number,
  wait: { start: number; lasted: number },
  visit: number,
  avoid: Days,
): void {
  const quiet = cell.longer[wait.lasted] ?? 0
  if (weight * quiet < NEGLIGIBLE) return
  answer.probability += weight * quiet
  for (let cycleDay = avoid.first; cycleDay <= avoid.last; cycleDay++) {
    const days = visit - cycleDay + 1 - wait.start
    if (days === 0) answer.badToo += weight * quiet
    else if (days > wait.lasted) answer.badToo += weight * startsAfterWait(cell, days, wait.lasted)
  }
}

function startRate(cell: Cell, anchors: Anchor[], start: number): number {
  let rate = 0
  for (const { quietUntil, lasted, goesOn, weight } of anchors) {
    if (start > quietUntil) rate += weight * goesOn * startsAfterWait(cell, start - quietUntil + lasted, lasted)
  }
  return rate
}
