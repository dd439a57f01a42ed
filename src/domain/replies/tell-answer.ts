import { answeredDay } from './answered-day.ts'
import { bareAnswer } from './answers.ts'
import { isFilled } from './clauses.ts'
import type { Match, Run } from './matching.ts'
import type { Scene } from './scene.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** An answer that is one only because of what was asked: a day, a bare yes or no, "I'd have said so". */
export function tellAnswer(scene: Scene, senses: readonly Found[]): Told[] {
  const { asked } = scene.context
  if (asked !== 'started' && asked !== 'day') return []
  const run = { from: 0, to: scene.tokens.length }
  const answer = asked === 'started' ? bareAnswer(scene) : undefined
  // A yes says that it began, not when: that is asked next.
  if (answer) return [{ meaning: answer === 'yes' ? 'period-started' : 'not-started', run, confidence: 0.9 }]
  const day = answeredDay(scene, senses)
  if (day)
    return [
      { meaning: 'period-started', run: day, day, confidence: day.day === undefined ? 0.65 : 0.93 * day.certainty },
    ]
  if (asked === 'day') return isDayUnknown(scene) ? [{ meaning: 'period-started', run, confidence: 0.75 }] : []
  return isNotYet(scene, senses) ? [{ meaning: 'not-started', run, confidence: 0.82 }] : []
}

const LONGEST_UNKNOWN = 10

/** "No idea sorry, brain like a sieve": it began, and when is not known. */
function isDayUnknown(scene: Scene): boolean {
  const { classes, tokens, isPart, days } = scene
  if (isPart || days.length > 0 || tokens.length > LONGEST_UNKNOWN || tokens.some(({ asks }) => asks)) return false
  const known = runsOf('day-unknown', scene)
  return scene.clauses.runs.some(
    (clause) =>
      known.some((run) => run.from >= clause.from && run.to <= clause.to) &&
      isFilled(clause, known, classes, ['filler', 'dating', 'joint', 'time', 'no', 'yes']),
  )
}

/** A longer text than this tells more than that it has not come. Judgement, no source. */
const LONGEST_NOT_YET = 16

/** Said without a no: it is awaited, the patient would have told, others have it "and me not". */
function isNotYet(scene: Scene, senses: readonly Found[]): boolean {
  const { tokens, classes, isPart } = scene
  if (isPart || tokens.length > LONGEST_NOT_YET || tokens.some(({ asks }) => asks)) return false
  if (has('other-start', scene) || has('visiting', scene, BEGUN_BEFORE)) return false
  if (endsInNotMe(scene)) return true
  const opensWithYes = classes[0]?.has('yes') === true && classes[0].get('yes')![0] !== tokens.length
  if (has('would-have-said', scene)) return !opensWithYes || has('on-condition', scene)
  if (opensWithYes) return false
  if (senses.some(({ sense }) => sense === 'ask' || sense === 'what-if')) return false
  return isAwaited(scene)
}

const BEGUN_BEFORE = ['began']

/** "It was meant to come Sunday", "in 2 days I reckon", and not that it has come since. */
function isAwaited(scene: Scene): boolean {
  const awaited = runsOf('awaited', scene)
  const ahead = scene.days.filter(({ tense }) => tense === 'ahead')
  const isPast = scene.classes.some(
    (found, at) => found.has('began') && !awaited.some(({ to, from }) => at >= from && at < to + 3),
  )
  if (isPast) return false
  if (awaited.length > 0) return true
  const isAll = (run: Run) => isFilled(run, ahead, scene.classes, ['filler', 'dating', 'joint'])
  return ahead.length === scene.days.length && ahead.length > 0 && scene.clauses.runs.slice(0, 1).every(isAll)
}

/** "My sister and my mother yes, me no". */
function endsInNotMe(scene: Scene): boolean {
  const last = scene.clauses.runs.at(-1)
  const runs = runsOf('not-me', scene)
  return last !== undefined && runs.length > 0 && isFilled(last, runs, scene.classes, ['filler', 'joint'])
}

function has(name: string, { classes }: Scene, unless: readonly string[] = []): boolean {
  return classes.some((found) => found.has(name) && !unless.some((other) => found.has(other)))
}

function runsOf(name: string, { classes }: Scene): Run[] {
  return classes.flatMap((found, from) => (found.get(name) ?? []).map((to) => ({ from, to })))
}
