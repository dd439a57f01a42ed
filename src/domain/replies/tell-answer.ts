import { answeredDay } from './answered-day.ts'
import { bareAnswer } from './answers.ts'
import { BESIDE_DAY, isFilled } from './clauses.ts'
import type { Match, Run } from './matching.ts'
import { asksSomething, wholeOf, type Scene } from './scene.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** An answer that is one only because of what was asked: a day, a bare yes or no, "I'd have said so". */
export function tellAnswer(scene: Scene, senses: readonly Found[]): Told[] {
  const { asked } = scene.context
  if (asked !== 'started' && asked !== 'day') return []
  const run = wholeOf(scene)
  const answer = asked === 'started' ? bareAnswer(scene) : undefined
  // A yes says that it began, not when: that is asked next.
  if (answer) return [{ meaning: answer === 'yes' ? 'period-started' : 'not-started', run, confidence: 0.9 }]
  const day = answeredDay(scene, senses)
  if (day)
    return [
      { meaning: 'period-started', run: day, day, confidence: day.day === undefined ? 0.65 : 0.93 * day.certainty },
    ]
  // "No idea": the day of the last period is asked for too, so that it says of no start that it has come.
  if (asked === 'day') return []
  return isNotYet(scene, senses) ? [{ meaning: 'not-started', run, confidence: 0.82 }] : []
}

/** A longer text than this tells more than that it has not come. Judgement, no source. */
const LONGEST_NOT_YET = 16

/** Said without a no: it is awaited, the patient would have told, others have it "and me not". */
function isNotYet(scene: Scene, senses: readonly Found[]): boolean {
  const { tokens, classes, isPart } = scene
  if (isPart || tokens.length > LONGEST_NOT_YET || asksSomething(scene)) return false
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
  const isAll = (run: Run) => isFilled(run, ahead, scene.classes, BESIDE_DAY)
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
