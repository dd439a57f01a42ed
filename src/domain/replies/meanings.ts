import { findChoice } from './choice.ts'
import { clausesAround, isFilled, overlaps } from './clauses.ts'
import type { Match, Run } from './matching.ts'
import type { Meaning, Reading } from './reading.ts'
import { calendarDate } from './receipt.ts'
import type { Scene } from './scene.ts'
import { holdingSenses, holdsNo } from './senses.ts'
import { dayOf } from './start-day.ts'
import type { Sense } from './vocabulary.ts'
import type { DayRun } from './dates.ts'

type Found = Match<Sense>

/** One meaning with the words that carry it. */
interface Told {
  meaning: Meaning
  run: Run
  confidence: number
  day?: DayRun | undefined
  choice?: number
  /** It came from a pattern that fills its clause. */
  isWhole?: boolean
}

/**
 * Which meaning gets the automatic answer when a text has several: first what must never be overlooked, then what changes
 * the visit, then what only informs.
 */
export const PRECEDENCE: readonly Meaning[] = [
  'stop',
  'urgent',
  'died',
  'wrong-person',
  'period-started',
  'prep-lapse',
  'cannot-come',
  'choice',
  'not-started',
  'bleeding-ended',
  'still-bleeding',
  'prep-question',
  'rejoin',
  'help',
  'confirm',
  'thanks',
]

// How sure each way of saying it is, before anything takes from it. Judged, not measured; the scoring command prints how often
// each step is right.
const SURE: Partial<Record<Sense, number>> = {
  stop: 0.98,
  'stop-alone': 0.95,
  'cancel-word': 0.8,
  'started-short': 0.82,
  'ended-short': 0.8,
  'late-some-days': 0.8,
  confirm: 0.93,
  thanks: 0.95,
}
const USUAL = 0.92
const SAME_MEANING: Partial<Record<Sense, Meaning>> = {
  'started-short': 'period-started',
  'ended-short': 'bleeding-ended',
  'stop-alone': 'stop',
  'cancel-word': 'stop',
  'late-some-days': 'not-started',
}

/** What the text means in this language, most important first. */
export function readScene(scene: Scene): Reading {
  const senses = holdingSenses(scene)
  const said = [...senses.flatMap((match) => tell(match, senses, scene)), ...tellQuestions(senses, scene)]
  const told = settle(said.some(isMoreThanYes) ? said : [...said, ...tellDayAsked(scene)], senses, scene)
  const first = told[0]
  if (!first) return { meaning: 'unclear', confidence: 0.5, words: [] }
  const also = [...new Set(told.map((each) => each.meaning))].filter((meaning) => meaning !== first.meaning)
  const start = told.find((each) => each.meaning === 'period-started')
  const end = told.find((each) => each.meaning === 'bleeding-ended')
  const topic = first.meaning === 'prep-question' || also.includes('prep-question') ? topicOf(scene) : undefined
  return {
    meaning: first.meaning,
    ...(start?.day?.day !== undefined && { startedOn: calendarDate(start.day.day) }),
    ...(end?.day?.day !== undefined && { endedOn: calendarDate(end.day.day) }),
    ...(first.choice && { choice: first.choice }),
    confidence: confidenceOf(first, also, senses),
    words: wordsOf(first, scene),
    ...(also.length > 0 && { also }),
    ...(topic && { topic }),
  }
}

function tell(match: Found, senses: Found[], scene: Scene): Told[] {
  const meaning = SAME_MEANING[match.sense] ?? match.sense
  const confidence = SURE[match.sense] ?? USUAL
  if (meaning === 'period-started') return tellStart(match, senses, scene, confidence)
  if (meaning === 'bleeding-ended') return [{ meaning, run: match, confidence, day: dayOf(match, scene) }]
  if (match.sense === 'cancel-word')
    return [
      { meaning: 'stop', run: match, confidence },
      { meaning: 'cannot-come', run: match, confidence: 0.5 },
    ]
  if (!PRECEDENCE.includes(meaning as Meaning)) return []
  if (match.sense === 'late-some-days' && daysLate(match, scene) >= LONG_LATE)
    return [{ meaning: 'urgent', run: match, confidence }]
  return [{ meaning: meaning as Meaning, run: match, confidence, isWhole: match.whole }]
}

/** A day seems to be named, in words that were not understood: then today is not to be assumed. */
function speaksOfTime(match: Found, scene: Scene): boolean {
  const { from, to } = clausesAround(match, scene.clauses)
  const isTime = (at: number) =>
    TIME.some((name) => scene.classes[at]!.has(name)) && !scene.days.some((day) => day.from <= at && at < day.to)
  return scene.tokens.some(
    (_, at) => at >= from && at < to + 4 && (at < match.from || at >= match.to) && isTime(at) && !isOther(at, match, scene),
  )
}

const TIME = ['time', 'n', 'nth', 'month', 'weekday']

/** A number after the clause that something else is said with, such as a choice or a time of day. */
function isOther(at: number, match: Found, scene: Scene): boolean {
  const other = clausesAround({ from: at, to: at + 1 }, scene.clauses)
  return (
    other.from >= clausesAround(match, scene.clauses).to &&
    !isFilled(other, scene.days, scene.classes, ['filler', 'dating', 'joint', 'time', 'n', 'nth', 'month', 'weekday'])
  )
}

/** A period this many days late is "long past": a person calls. Value chosen by judgement, no source. */
const LONG_LATE = 7

function daysLate(match: Found, scene: Scene): number {
  for (let at = match.from; at < match.to; at++) {
    const { word } = scene.tokens[at]!
    if (scene.classes[at]!.has('n')) return /^\d/.test(word) ? Number.parseInt(word, 10) : (scene.language.values.get(word) ?? 0)
  }
  return 0
}

function tellStart(match: Found, senses: Found[], scene: Scene, sure: number): Told[] {
  const clause = scene.clauses.of[match.from]
  if (
    senses.some((other) => other.sense === 'not-started' && (overlaps(other, match) || scene.clauses.of[other.from] === clause))
  )
    return []
  // "My period never came": whatever pattern found a start around a no, it is none.
  if (holdsNo(match, scene)) return []
  const day = dayOf(match, scene)
  if (day?.tense === 'ahead') return []
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
  const today: DayRun = { from: match.from, to: match.to, tense: 'past', kind: 'today', day: scene.receipt().today, certainty: 1 }
  return [{ meaning: 'period-started', run: match, confidence: sure - 0.1, day: today }]
}

function isMoreThanYes({ meaning, isWhole }: Told): boolean {
  return !(meaning === 'thanks' || (meaning === 'confirm' && isWhole === true))
}

/** She was asked when it started: a day and nothing but courtesies ("Yes, Monday", "around the 15th I think") is the answer. */
function tellDayAsked(scene: Scene): Told[] {
  const [day, other] = scene.days
  if (!scene.context.askedWhen || !day || other || day.tense === 'ahead' || scene.isPart) return []
  const text = { from: 0, to: scene.tokens.length }
  const isAlone = isFilled(text, scene.days, scene.classes, ['filler', 'dating', 'joint'])
  return isAlone
    ? [{ meaning: 'period-started', run: day, day, confidence: day.day === undefined ? 0.65 : 0.93 * day.certainty }]
    : []
}

/** A topic of the preparation in a clause that asks: "can I take a bath?", "tampons ok?". */
function tellQuestions(senses: Found[], scene: Scene): Told[] {
  return scene.clauses.runs.flatMap((clause): Told[] => {
    const at = scene.classes.findIndex((found, i) => i >= clause.from && i < clause.to && found.has('topic'))
    if (at < 0 || senses.some((other) => SPEAK_OF_TOPICS.has(other.sense) && overlaps(other, clause))) return []
    const asks =
      scene.tokens[at]!.asks ||
      senses.some((other) => other.sense === 'ask' && other.from < at && at - other.from <= LONGEST_QUESTION)
    return asks ? [{ meaning: 'prep-question', run: clause, confidence: 0.9 }] : []
  })
}

const LONGEST_QUESTION = 10
const SPEAK_OF_TOPICS = new Set<Sense>(['prep-lapse', 'urgent', 'stop', 'prep-question'])

/** Beside these a bare yes is part of the answer: "yes, it started". */
const ABOUT_BLEEDING = new Set<Meaning>(['period-started', 'not-started', 'still-bleeding', 'bleeding-ended'])

/** Sorts by importance and takes away what another meaning explains better. */
function settle(told: Told[], senses: Found[], scene: Scene): Told[] {
  const choice = findChoice(scene, senses)
  if (choice && !told.some((each) => overlaps(each.run, choice) && each.meaning !== 'confirm')) {
    told.push({ meaning: 'choice', run: choice, confidence: 0.96, choice: choice.choice })
  }
  const yesToOffer = (each: Told) => each.meaning === 'confirm' && scene.context.choices > 0
  const kept =
    scene.context.choices === 1 && !choice
      ? told.map((each) => (yesToOffer(each) ? { ...each, meaning: 'choice' as const, choice: 1 } : each))
      : told.filter((each) => !yesToOffer(each))
  const started = kept.some((each) => each.meaning === 'period-started')
  const rank = (each: Told) => PRECEDENCE.indexOf(each.meaning)
  const cannot = kept.some((each) => each.meaning === 'cannot-come')
  const bled = kept.some((each) => ABOUT_BLEEDING.has(each.meaning))
  const isMoot = (each: Told) =>
    (started && each.meaning === 'not-started') || (each.meaning === 'confirm' && (cannot || (bled && each.isWhole === true)))
  return kept.filter((each) => !isMoot(each)).sort((a, b) => rank(a) - rank(b) || b.confidence - a.confidence)
}

function confidenceOf(first: Told, also: Meaning[], senses: Found[]): number {
  const unsure = senses.some((sense) => sense.sense === 'unsure') ? 0.15 : 0
  const divided = also.some((meaning) => meaning !== 'thanks' && meaning !== 'confirm') ? 0.03 : 0
  return Math.round(Math.max(0.3, first.confidence - unsure - divided) * 100) / 100
}

function wordsOf(told: Told, scene: Scene): string[] {
  const runs = [told.run, ...(told.day && !overlaps(told.day, told.run) ? [told.day] : [])].sort((a, b) => a.from - b.from)
  return runs.flatMap((run) => scene.tokens.slice(run.from, run.to).flatMap((token) => token.written || []))
}

/** The topic of a preparation question. When several are asked about, none: one approved sentence would answer only half. */
function topicOf(scene: Scene): string | undefined {
  const topics = new Set<string | undefined>()
  for (let at = 0; at < scene.tokens.length; at++) {
    const to = scene.classes[at]!.get('topic')?.[0]
    if (to)
      topics.add(
        scene.language.topics.get(
          scene.tokens
            .slice(at, to)
            .map((token) => token.word)
            .join(' '),
        ),
      )
  }
  // A prescribed cream is a prescription.
  if (topics.has('prescription')) topics.delete('cream')
  const [topic] = topics
  return topics.size === 1 ? topic : undefined
}
