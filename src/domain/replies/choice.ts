import { DateTime } from 'luxon'
import type { Scene } from './scene.ts'
import type { Match, Run } from './matching.ts'
import { isUnderstood } from './senses.ts'
import type { Sense } from './vocabulary.ts'

/** A choice among the openings on offer. `undefined` when none or more than one is named. */
export interface Choice extends Run {
  choice: number
}

/**
 * Reads "2", "2nd one", "the Tuesday one", "the 10:30" while an offer is open. A clause must hold nothing but the choice
 * and words of choosing: "2 days ago" is none.
 */
export function findChoice(scene: Scene, senses: Match<Sense>[]): Choice | undefined {
  if (scene.context.choices < 1 || scene.isPart) return undefined
  const named = scene.clauses.runs
    .flatMap((clause) => readClause(clause, scene) ?? [])
    .filter((choice) => isInPlace(choice, senses, scene))
  const first = named[0]
  return first && named.every((other) => other.choice === first.choice) ? first : undefined
}

/** At the beginning or the end; in between only where all the rest is understood. */
function isInPlace(choice: Choice, senses: Match<Sense>[], scene: Scene): boolean {
  if (choice.from === 0 || choice.to === scene.tokens.length) return true
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
  return choices.size === 1 && choice! >= 1 && choice! <= scene.context.choices ? { ...clause, choice: choice! } : undefined
}

const CHOOSING = ['choosing', 'filler', 'joint']

function readAt(at: number, scene: Scene): Choice | undefined {
  const classes = scene.classes[at]!
  const { word } = scene.tokens[at]!
  const here = (choice: number | undefined, to = at + 1) => (choice === undefined ? undefined : { choice, from: at, to })
  if (classes.has('last')) return here(scene.context.choices)
  const day = scene.days.find((run) => run.from === at && run.kind === 'weekday')
  if (day)
    return here(
      offered(scene, (start) => start.weekday === scene.language.weekdays.get(weekdayWord(day, scene))),
      day.to,
    )
  if (/^\d{1,2}:\d{2}$/.test(word)) return here(offered(scene, (start) => start.toFormat('H:mm') === word.replace(/^0/, '')))
  if (!classes.has('n') && !classes.has('nth')) return undefined
  const value = /^\d/.test(word) ? Number.parseInt(word, 10) : scene.language.values.get(word)
  const byDate = classes.has('nth') && value! > scene.context.choices ? offered(scene, (start) => start.day === value) : undefined
  return here(byDate ?? value)
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
