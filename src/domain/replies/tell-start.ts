import { BESIDE_DAY, clausesAround, isFilled, overlaps } from './clauses.ts'
import type { DayRun } from './dates.ts'
import type { Match } from './matching.ts'
import type { Scene } from './scene.ts'
import { holdsNo } from './senses.ts'
import { dayOf } from './start-day.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** A period that began, with its day: the one named, none where one was named that was not understood, else today. */
export function tellStart(match: Found, senses: Found[], scene: Scene, sure: number): Told[] {
  const clause = scene.clauses.of[match.from]
  if (
    senses.some(
      (other) => other.sense === 'not-started' && (overlaps(other, match) || scene.clauses.of[other.from] === clause),
    )
  )
    return []
  // "My period never came": whatever pattern found a start around a no, it is none.
  if (match.sense !== 'not-until' && holdsNo(match, scene)) return []
  const day = dayOf(match, scene)
  if (day?.tense === 'ahead' && match.sense !== 'not-until') return []
  if (day)
    return [
      {
        meaning: 'period-started',
        run: match,
        confidence: Math.min(0.97, (sure + 0.05) * (day.day === undefined ? 0.75 : day.certainty)),
        day,
      },
    ]
  if (speaksOfTime(match, scene)) return [{ meaning: 'period-started', run: match, confidence: sure - 0.25 }]
  if (isAnswerWithoutDay(match, scene)) return [{ meaning: 'period-started', run: match, confidence: sure - 0.05 }]
  const today: DayRun = {
    from: match.from,
    to: match.to,
    tense: 'past',
    kind: 'today',
    day: scene.receipt().today,
    certainty: 1,
  }
  return [{ meaning: 'period-started', run: match, confidence: sure - 0.1, day: today }]
}

/** "It started", where the question was whether it has: that may be days ago, so today is not assumed. */
function isAnswerWithoutDay(match: Found, { context }: Scene): boolean {
  return context.asked === 'started' && match.sense === 'started-short'
}

/** A day seems to be named, in words that were not understood: then today is not to be assumed. */
function speaksOfTime(match: Found, scene: Scene): boolean {
  const { from, to } = clausesAround(match, scene.clauses)
  const isTime = (at: number) =>
    TIME.some((name) => scene.classes[at]!.has(name)) && !scene.days.some((day) => day.from <= at && at < day.to)
  return scene.tokens.some(
    (_, at) =>
      at >= from && at < to + 4 && (at < match.from || at >= match.to) && isTime(at) && !isOther(at, match, scene),
  )
}

const TIME = ['time', 'n', 'nth', 'month', 'weekday']

/** A number after the clause that something else is said with, such as a choice or a time of day. */
function isOther(at: number, match: Found, scene: Scene): boolean {
  const other = clausesAround({ from: at, to: at + 1 }, scene.clauses)
  return (
    other.from >= clausesAround(match, scene.clauses).to &&
    !isFilled(other, scene.days, scene.classes, [...BESIDE_DAY, 'time', 'n', 'nth', 'month', 'weekday'])
  )
}
