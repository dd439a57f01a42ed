import { BESIDE_DAY, clausesAround, contains, isFilled, overlaps } from './clauses.ts'
import { openDay, type DayRun } from './dates.ts'
import type { Match, Run } from './matching.ts'
import { asksSomething, wholeOf, type Scene } from './scene.ts'
import { isDayOfVisit } from './start-day.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** A longer text than this is no answer that names a day, but a story in which one stands. Judgement, no source. */
export const LONGEST_ANSWER = 18
/** A date without its month is not sure further back than this: "the 31st" may be a slip. Judgement, no source. */
const OLDEST_DATE = 20

/**
 * The day that a start is told on, where a start or its day was asked for: the only one named, unless something else in
 * the text claims it. Asked for the day, the patient has said that it began, so unknown words may stand around it;
 * asked whether it began, only a yes or a sentence of its own makes a day the answer. A day without number: it is not
 * known.
 */
export function answeredDay(scene: Scene, senses: readonly Found[]): DayRun | undefined {
  if (scene.isPart || scene.tokens.length > LONGEST_ANSWER || scene.days.length === 0) return undefined
  // In a language that is not the patient's own a word that is not known may be a no: "not Monday".
  if (scene.language.code !== scene.context.language && !isAllKnown(scene)) return undefined
  const day = meantDay(scene)
  if (!day || isClaimed(day, scene, senses)) return undefined
  if (scene.context.asked === 'day') return isUnsure(day, scene) ? undefined : sureDay(day, scene)
  return day.tense === 'past' && isAnswerOf(day, scene) && !isUnsure(day, scene) ? day : undefined
}

function isAllKnown(scene: Scene): boolean {
  return isFilled(wholeOf(scene), scene.days, scene.classes, [...BESIDE_DAY, 'not'])
}

/** Of days that are told one after the other, the one that is not denied: "not Saturday, Sunday". */
function meantDay(scene: Scene): DayRun | undefined {
  if (scene.days.some(({ tense }) => tense === 'ahead')) return undefined
  const held = scene.days.filter((day) => !denialOf(day, scene))
  const [first, ...others] = held
  if (!first) return dayBefore(scene)
  if (others.every(({ day }) => day !== undefined && day === first.day)) return first
  return scene.context.asked === 'day' ? openDay({ from: first.from, to: others.at(-1)!.to }) : undefined
}

/** "Not this Sunday, the one before". */
function dayBefore({ days, classes, tokens, language, receipt }: Scene): DayRun | undefined {
  const [denied, other] = days
  if (!denied || other) return undefined
  const words = tokens.slice(denied.from, denied.to)
  const weekday = words.map(({ word }) => language.weekdays.get(word)).find((value) => value !== undefined)
  if (weekday === undefined || !classes.some((found, at) => at > denied.from && found.has('one-before')))
    return undefined
  const daysBack = ((receipt().weekday - weekday + 7) % 7) + 7
  return { ...denied, kind: 'weekday', tense: 'past', day: receipt().today - daysBack, certainty: 0.85 }
}

/** The word that denies a day: right before it but for one word, or right after it where a language has it so. */
export function denialOf({ from, to }: Run, { classes, tokens }: Scene): Run | undefined {
  for (let at = from - 1; at >= Math.max(0, from - 3) && tokens[at + 1]!.before === 0; at--) {
    const ends = ['not', 'no'].flatMap((name) => classes[at]!.get(name) ?? [])
    if (ends.some((end) => end === from || end === from - 1)) return { from: at, to: from }
  }
  const end = tokens[to]?.before === 0 ? classes[to]!.get('not-that-day')?.[0] : undefined
  return end === undefined ? undefined : { from: to, to: end }
}

const CLAIMING: ReadonlySet<Sense> = new Set<Sense>(['what-if', 'someone-else', 'companion', 'past-cycles'])

const SET_ASIDE = ['other-start', 'awaited', 'foreign-no']

/** Something else may be told of that day: a question, a condition, another person, a visit, another beginning. */
function isClaimed(day: DayRun, scene: Scene, senses: readonly Found[]): boolean {
  const { classes, clauses } = scene
  if (asksSomething(scene) || isDayOfVisit(day, scene)) return true
  if (senses.some(({ sense, to }) => CLAIMING.has(sense) && !isYesSaidFor(to, day, scene))) return true
  if (classes.some((found) => SET_ASIDE.some((name) => found.has(name)))) return true
  if (
    [day.from - 1, day.from - 2].some((at) => classes[at]?.has('beside-day') && clauses.of[at] === clauses.of[day.from])
  )
    return true
  const clause = clausesAround(day, clauses)
  const denials = scene.days.flatMap((each) => denialOf(each, scene) ?? [])
  for (let at = clause.from; at < clause.to; at++) {
    const here = { from: at, to: at + 1 }
    if (overlaps(here, day) || denials.some((denial) => contains(denial, here))) continue
    const found = classes[at]!
    if (found.has('clean') || (found.has('will') && !classes[at + 1]?.has('have-been'))) return true
    if (found.has('not') || found.has('no')) return true
  }
  return denials.length === 0 && classes.some((found) => found.has('no') && !found.has('day-unknown'))
}

/** "My wife says yes, since Saturday": another writes, of the patient. */
function isYesSaidFor(after: number, day: DayRun, scene: Scene): boolean {
  return scene.classes.some((found, at) => at >= after && at < day.from && found.has('yes'))
}

/** A yes with the day right after it, or a clause of its own for the day. */
function isAnswerOf(day: DayRun, scene: Scene): boolean {
  const { classes, tokens } = scene
  const all = [...scene.days, ...scene.days.flatMap((each) => denialOf(each, scene) ?? [])]
  const isFull = (run: Run) => isFilled(run, all, classes, BESIDE_DAY)
  const isDenied = all.length > scene.days.length
  if (!isDenied && classes.some((found) => found.has('no') || found.has('not'))) return false
  if (isFull(wholeOf(scene))) return true
  const clause = clausesAround(day, scene.clauses)
  const yes = classes.findIndex((found, at) => at < day.from && found.has('yes'))
  const beside = tokens.length - (clause.to - clause.from)
  if (yes >= 0) return beside <= FEW_BESIDE_YES && isFull({ from: Math.max(yes, clause.from), to: clause.to })
  const isSentence = tokens[clause.from]!.before === 2 && (tokens[clause.to]?.before ?? 2) === 2
  return isSentence && isFull(clause) && beside <= FEW && PAST.has(day.kind)
}

/** Days that are surely over, so that none of them is one of the visit. */
const PAST: ReadonlySet<DayRun['kind']> = new Set<DayRun['kind']>([
  ...(['earlier-today', 'yesterday', 'night', 'before-yesterday', 'days-ago', 'hours-ago', 'last-weekday'] as const),
])
const FEW = 6
const FEW_BESIDE_YES = 9

/** A date without its month that is long ago, or yet to come. */
function isUnsure(day: DayRun, scene: Scene): boolean {
  return day.kind === 'day-of-month' && scene.receipt().today - (day.day ?? 0) > OLDEST_DATE
}

/** "Tuesday" on a Tuesday may be this one or the last; "the first" may be the first of anything. */
function sureDay(day: DayRun, scene: Scene): DayRun {
  const isThisOrLast = day.kind === 'weekday' && day.day === scene.receipt().today
  const isFirst =
    day.kind === 'day-of-month' && !scene.tokens.slice(day.from, day.to).some(({ word }) => /^\d/.test(word))
  const isBare = isFilled(wholeOf(scene), [day], scene.classes, [])
  const isCouple = day.kind === 'days-ago' && scene.classes.slice(day.from, day.to).some((found) => found.has('couple'))
  const isOther = scene.classes[day.from - 1]?.has('one-before') === true
  return isOther || (isThisOrLast && isBare) || isFirst || isCouple ? openDay(day) : day
}
