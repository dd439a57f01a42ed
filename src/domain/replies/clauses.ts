import type { ClassRuns, Run } from './matching.ts'
import type { Token } from './tokens.ts'

/** The text in clauses: punctuation and joining words ("but", "so", "and") part them. */
export interface Clauses {
  /** Which clause each token is in. */
  of: number[]
  runs: Run[]
}

export function findClauses(tokens: Token[], classes: ClassRuns): Clauses {
  const of: number[] = []
  const runs: Run[] = []
  for (let at = 0; at < tokens.length; at++) {
    if (at === 0 || tokens[at]!.before > 0 || classes[at]!.has('joint')) runs.push({ from: at, to: at })
    runs.at(-1)!.to = at + 1
    of.push(runs.length - 1)
  }
  return { of, runs }
}

/** The clauses that a run of tokens touches, as one run of tokens. */
export function clausesAround(run: Run, clauses: Clauses): Run {
  return { from: clauses.runs[clauses.of[run.from]!]!.from, to: clauses.runs[clauses.of[run.to - 1]!]!.to }
}

export function overlaps(a: Run, b: Run): boolean {
  return a.from < b.to && b.from < a.to
}

export function contains(outer: Run, inner: Run): boolean {
  return outer.from <= inner.from && inner.to <= outer.to
}

/** Classes of words that may stand beside a day without saying more. */
export const BESIDE_DAY: readonly string[] = ['filler', 'dating', 'joint']

/** True when every token of `within` belongs to one of `runs` or to one of the named word classes. */
export function isFilled(within: Run, runs: Run[], classes: ClassRuns, names: readonly string[]): boolean {
  let at = within.from
  while (at < within.to) {
    const next = Math.max(endOfRun(at, runs), endOfClass(at, classes, names))
    if (next <= at) return false
    at = next
  }
  return true
}

function endOfRun(at: number, runs: Run[]): number {
  let end = -1
  for (const run of runs) if (run.from <= at && at < run.to && run.to > end) end = run.to
  return end
}

function endOfClass(at: number, classes: ClassRuns, names: readonly string[]): number {
  let end = -1
  for (const name of names) end = Math.max(end, classes[at]!.get(name)?.[0] ?? -1)
  return end
}
