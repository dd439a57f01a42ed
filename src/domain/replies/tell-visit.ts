import { DateTime } from 'luxon'
import { bareAnswer } from './answers.ts'
import type { DayRun } from './dates.ts'
import type { Match } from './matching.ts'
import { asksSomething, wholeOf, type Scene } from './scene.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

const ASKING: ReadonlySet<string | undefined> = new Set(['coming', 'either', undefined])

/**
 * What is said of the visit beside no word of coming: its day with a no ("Thursday no, it came yesterday"), or that it
 * is to stay as it is ("no, don't need another date"); a bare no to whether the patient is coming.
 */
export function tellVisit(senses: readonly Match<Sense>[], scene: Scene): Told[] {
  const { context, isPart } = scene
  if (isPart || !ASKING.has(context.asked) || context.choices > 0) return []
  if (context.asked === 'coming' && bareAnswer(scene) === 'no')
    return [{ meaning: 'cannot-come', run: wholeOf(scene), confidence: 0.85 }]
  if (asksSomething(scene) || senses.some(({ sense }) => sense === 'what-if')) return []
  const refused = scene.days.find((day) => isRefused(day, scene) && isOfVisit(day, scene))
  if (refused) return [{ meaning: 'cannot-come', run: refused, confidence: 0.85 }]
  return context.asked === 'coming' ? tellKept(senses, scene) : []
}

/** A no right after the day, and nothing more in its clause: "Thursday no". */
export function isRefused({ to }: DayRun, { classes, clauses, tokens }: Scene): boolean {
  const end = tokens[to]?.before === 0 ? classes[to]!.get('not-that-day')?.[0] : undefined
  return end !== undefined && clauses.runs[clauses.of[to]!]!.to === end
}

/** Whoever was asked whether the visit's day will do means that day, whichever is named. */
function isOfVisit(day: DayRun, { context, tokens, language }: Scene): boolean {
  if (context.asked === 'coming') return day.kind === 'weekday'
  if (!context.visit) return false
  const { weekday } = DateTime.fromJSDate(context.visit, { zone: context.zone })
  return tokens.slice(day.from, day.to).some(({ word }) => language.weekdays.get(word) === weekday)
}

function tellKept(senses: readonly Match<Sense>[], { classes }: Scene): Told[] {
  const from = classes.findIndex((found) => found.has('no-change'))
  if (from < 0 || senses.some(({ sense }) => sense === 'cannot-come')) return []
  return [{ meaning: 'confirm', run: { from, to: classes[from]!.get('no-change')![0]! }, confidence: 0.85 }]
}
