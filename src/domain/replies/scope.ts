import { overlaps } from './clauses.ts'
import type { Match, Run } from './matching.ts'
import type { Scene } from './scene.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** What somebody intends, or wants of us: it may be denied, put under a condition, or another's. */
const INTENDED: ReadonlySet<Sense> = new Set<Sense>(['cannot-come', 'cancel-word', 'confirm', 'stop', 'stop-it'])
/** Intended by a patient alone: whoever asks for no more texts is heard, whoever it is. */
const OWN: ReadonlySet<Sense> = new Set<Sense>(['cannot-come', 'cancel-word', 'confirm'])

/**
 * Whether an intention holds where it stands: "don't cancel", "do I have to cancel if …", "my husband can't come" say
 * it of nobody, of another case, of somebody else. What is taken away is not turned round: a person reads it.
 */
export function isIntended(match: Found, matches: readonly Found[], scene: Scene): boolean {
  if (!INTENDED.has(match.sense)) return true
  if (match.sense !== 'confirm' && isDenied(match, scene)) return false
  return !OWN.has(match.sense) || !(isConditional(match, matches, scene) || isAnothers(match, matches, scene))
}

/** The words of a denial end where it begins, but for one word, or follow at once where a language has it so. */
function isDenied({ from, to }: Run, { classes, clauses }: Scene): boolean {
  const clause = clauses.runs[clauses.of[from]!]!
  for (let at = clause.from; at < from; at++) {
    const ends = classes[at]!.get('denied') ?? []
    if (ends.some((end) => end === from || end === from - 1)) return true
  }
  return classes[to]?.has('denied-after') === true && clauses.of[to] === clauses.of[to - 1]
}

/** An "if" in the clause, or in the one that follows without a stop: "do I cancel if I bleed". */
function isConditional(match: Found, matches: readonly Found[], { classes, clauses, tokens }: Scene): boolean {
  const last = clauses.of[match.to - 1]!
  const next = clauses.runs[last + 1]
  const to = next && tokens[next.from]!.before === 0 ? next.to : clauses.runs[last]!.to
  const around = { from: clauses.runs[clauses.of[match.from]!]!.from, to }
  if (matches.some((other) => other.sense === 'what-if' && overlaps(other, around))) return true
  // "A woman or I won't come", "not sure I'd be allowed".
  const clause = clauses.of[match.from]!
  const from = clauses.runs[match.sense === 'cannot-come' ? Math.max(0, clause - 1) : clause]!.from
  return classes.some((found, at) => at >= from && at <= match.from && found.has('on-condition'))
}

/** Somebody else is named before it in the clause, and not the patient after that. */
function isAnothers(match: Found, matches: readonly Found[], { classes, clauses }: Scene): boolean {
  const clause = clauses.runs[clauses.of[match.from]!]!
  return matches.some(({ sense, from, to }) => {
    if ((sense !== 'someone-else' && sense !== 'companion') || from < clause.from || to > match.from) return false
    return !classes.slice(to, match.to).some((found) => found.has('self'))
  })
}
