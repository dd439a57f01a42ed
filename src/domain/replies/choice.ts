import { DateTime } from 'luxon'
import { bareAnswer } from './answers.ts'
import { lastOpening, openingsIn, romanAt } from './choice-words.ts'
import { clausesAround, isFilled, overlaps } from './clauses.ts'
import type { DayRun } from './dates.ts'
import { valueOf } from './numbers.ts'
import { dayNumber } from './receipt.ts'
import { wholeOf, type Scene } from './scene.ts'
import type { Match, Run } from './matching.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import { isUnderstood } from './senses.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

/** A choice among the openings on offer. `undefined` when none or more than one is named. */
export interface Choice extends Run {
  choice: number
}

/**
 * Reads "2", "2nd one", "the Tuesday one", "the 10:30" while an offer is open. A clause must hold nothing but the
 * choice and words of choosing: "2 days ago" is none. A word of refusal, another number, or a day on which the opening
 * is not, takes it back: a visit moved against the patient's will is worse than a question. `told`: what else is said,
 * such as a start or that there is none yet, whose words and day are not the choice's.
 */
export function findChoice(scene: Scene, senses: Match<Sense>[], told: readonly Told[]): Choice | undefined {
  if (scene.isPart) return undefined
  const days = told.flatMap(({ day }) => day ?? [])
  const choice = lastOpening(scene, (run) => readClause(run, scene)?.choice) ?? onlyChoice(scene, senses, told)
  return choice && !namesAnotherDay(choice, scene, days) ? choice : undefined
}

function onlyChoice(scene: Scene, senses: Match<Sense>[], told: readonly Told[]): Choice | undefined {
  const news = told
    .filter(({ meaning }) => REPLY_MEANINGS[meaning].bleeding !== null)
    .map(({ run }) => clausesAround(run, scene.clauses))
  const isElsewhere = (run: Run) => !news.some((clause) => overlaps(clause, run))
  if (scene.classes.some((found, at) => found.has('refused') && isElsewhere({ from: at, to: at + 1 }))) return undefined
  const choice = namedChoice(scene, senses) ?? takenChoice(scene, senses, told)
  if (!choice) return undefined
  return openingsIn(scene).every((other) => other.choice === choice.choice || !isElsewhere(other)) ? choice : undefined
}

/** A plain yes to the only opening, with neither a day nor a question beside it. */
function takenChoice(scene: Scene, senses: Match<Sense>[], told: readonly Told[]): Choice | undefined {
  const days = told.flatMap(({ day }) => day ?? [])
  if (scene.context.choices !== 1 || scene.days.some((day) => isForVisit(day, days))) return undefined
  if (scene.tokens.some(({ asks }) => asks)) return undefined
  const all = wholeOf(scene)
  const isPleased = scene.classes.some((found) => found.has('pleased'))
  if (isPleased && isFilled(all, [], scene.classes, ['pleased'])) return { ...all, choice: 1 }
  if (bareAnswer(scene) === 'yes') return { ...all, choice: 1 }
  const taken = senses.find(({ sense }) => sense === 'takes')
  return taken && { from: taken.from, to: taken.to, choice: 1 }
}

function namesAnotherDay({ choice }: Choice, scene: Scene, told: DayRun[]): boolean {
  const start = scene.context.offered?.[choice - 1]
  if (!start) return false
  const at = DateTime.fromJSDate(start, { zone: scene.context.zone })
  return scene.days.some((day) => namesDay(day, scene) && isForVisit(day, told) && !isOn(at, day, scene))
}

function namesDay(day: DayRun, scene: Scene): boolean {
  return day.date !== undefined || weekdayWord(day, scene) !== ''
}

/** By its date where that was told, else by its weekday. */
function isOn(start: DateTime, day: DayRun, scene: Scene): boolean {
  if (day.date !== undefined) return day.date === dayNumber(start.year, start.month, start.day)
  return start.weekday === scene.language.weekdays.get(weekdayWord(day, scene))
}

function isForVisit(day: DayRun, told: DayRun[]): boolean {
  return !told.some((other) => overlaps(other, day))
}

function namedChoice(scene: Scene, senses: Match<Sense>[]): Choice | undefined {
  const named = scene.clauses.runs
    .flatMap((clause) => readClause(clause, scene) ?? [])
    .filter((choice) => isInPlace(choice, senses, scene))
  // "Either 1 or 2" leaves it open.
  if (named.some(({ from }) => scene.classes[from]!.has('either'))) return undefined
  const first = named[0]
  return first && named.every((other) => other.choice === first.choice) ? first : undefined
}

/** At the beginning or the end; in between, and "first" alone ("First, is there parking?"), if all is understood. */
function isInPlace(choice: Choice, senses: Match<Sense>[], scene: Scene): boolean {
  const isOrdinal = choice.to - choice.from === 1 && scene.language.values.has(scene.tokens[choice.from]!.word)
  const isAtEdge = choice.from === 0 || choice.to === scene.tokens.length
  if (isAtEdge && !(isOrdinal && scene.classes[choice.from]!.has('nth'))) return true
  return scene.clauses.runs.every((run) => run.from === choice.from || isUnderstood(run, senses, scene))
}

function readClause(clause: Run, scene: Scene): Choice | undefined {
  const named: Choice[] = []
  for (let at = clause.from; at < clause.to;) {
    const found = readAt(at, scene)
    if (found) named.push(found)
    at = found?.to ?? Math.max(...CHOOSING.map((name) => scene.classes[at]!.get(name)?.[0] ?? -1))
    if (at < 0) return undefined
  }
  // "The second one", "one more: 2": "one" counts only when nothing else does.
  const strong = named.filter((each) => !scene.classes[each.from]!.has('choosing'))
  const choices = new Set((strong.length > 0 ? strong : named).map((each) => each.choice))
  const [choice] = choices
  return choices.size === 1 && choice! >= 1 && choice! <= scene.context.choices
    ? { ...clause, choice: choice! }
    : undefined
}

const CHOOSING = ['choosing', 'filler', 'joint', 'of-offer']

function readAt(at: number, scene: Scene): Choice | undefined {
  const classes = scene.classes[at]!
  const { word } = scene.tokens[at]!
  const here = (choice: number | undefined, to = at + 1) =>
    choice === undefined ? undefined : { choice, from: at, to }
  if (classes.has('last')) return here(scene.context.choices)
  if (classes.has('middle')) return here(scene.context.choices === 3 ? 2 : 0, classes.get('middle')![0])
  if (romanAt(at, scene)) return here(romanAt(at, scene))
  const day = scene.days.find((run) => run.from === at && (run.kind === 'weekday' || run.date !== undefined))
  if (day)
    return here(
      offered(scene, (start) => isOn(start, day, scene)),
      day.to,
    )
  if (/^\d{1,2}:\d{2}$/.test(word))
    return here(offered(scene, (start) => start.toFormat('H:mm') === word.replace(/^0/, '')))
  if (!classes.has('n') && !classes.has('nth')) return undefined
  const value = valueOf(word, scene.language)
  const byDate =
    classes.has('nth') && value! > scene.context.choices ? offered(scene, (start) => start.day === value) : undefined
  const byHour =
    value! > scene.context.choices && !classes.has('nth')
      ? offered(scene, (start) => start.minute === 0 && start.hour % 12 === value! % 12)
      : 0
  return here(byDate ?? (byHour || value))
}

function weekdayWord(day: Run, scene: Scene): string {
  return scene.tokens.slice(day.from, day.to).find((token) => scene.language.weekdays.has(token.word))?.word ?? ''
}

/** The number of the one opening for which `fits` holds; 0, which is no choice, when it is none or several. */
function offered(scene: Scene, fits: (start: DateTime) => boolean): number {
  const starts = (scene.context.offered ?? []).map((start) => DateTime.fromJSDate(start, { zone: scene.context.zone }))
  const fitting = starts.flatMap((start, i) => (fits(start) ? [i + 1] : []))
  return fitting.length === 1 ? fitting[0]! : 0
}
