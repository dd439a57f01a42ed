import { overlaps } from './clauses.ts'
import { clinicalOf, isLongLate, isPregnancyInDanger, speaksOfBlood } from './clinical.ts'
import type { Match } from './matching.ts'
import { meaningsWith, type Meaning, type Reading } from './reading.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import { calendarDate } from './receipt.ts'
import type { Scene } from './scene.ts'
import { holdingSenses } from './senses.ts'
import { settle } from './settle.ts'
import { dayOf } from './start-day.ts'
import { tellAnswer } from './tell-answer.ts'
import { tellStart } from './tell-start.ts'
import { tellVisit } from './tell-visit.ts'
import type { Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

// How sure each way of saying it is, before anything takes from it. Judged, not measured; the scoring command prints
// how often each step is right.
const SURE: Partial<Record<Sense, number>> = {
  stop: 0.98,
  'stop-alone': 0.95,
  'cancel-word': 0.8,
  'started-short': 0.82,
  'kin-died': 0.8,
  'past-cycles': 0.85,
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
  'not-until': 'period-started',
  'stop-it': 'stop',
  'kin-died': 'died',
  'past-cycles': 'no-cycle',
  'today-bleeding': 'urgent',
  'today-pregnancy': 'urgent',
  'today-late': 'urgent',
  'today-pain': 'urgent',
  assault: 'urgent',
}

/** Alarming, and no emergency by themselves. */
const FOR_TODAY: ReadonlySet<Sense> = new Set<Sense>(['today-bleeding', 'today-pregnancy', 'today-late', 'today-pain'])

/** What the text means in this language, most important first. */
export function readScene(scene: Scene): Reading {
  const senses = holdingSenses(scene)
  const said = [
    ...senses.flatMap((match) => tell(match, senses, scene)),
    ...tellQuestions(senses, scene),
    ...tellVisit(senses, scene),
  ]
  const told = settle(said.some(isMoreThanYes) ? said : [...said, ...tellAnswer(scene, senses)], senses, scene)
  const first = told[0]
  const start = told.find((each) => each.meaning === 'period-started')
  const meanings = [...new Set(told.map((each) => each.meaning))]
  const clinical = clinicalOf(scene, senses, { meanings, startedOn: start?.day?.day })
  const marks = { ...(clinical && { clinical }), ...(senses.some(isNeed) && { needs: true as const }) }
  if (!first) {
    const ofBlood = speaksOfBlood(scene, { meanings }) && { ofBlood: true as const }
    return { meaning: 'unclear', confidence: 0.5, words: [], ...marks, ...ofBlood }
  }
  const also = meanings.slice(1)
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
    ...marks,
    ...(isForToday(told) && !isPregnancyInDanger(scene, senses) && { level: 'today' }),
    ...(topic && { topic }),
  }
}

const isNeed = ({ sense }: Found) => sense === 'needs'

/** It alarms, and nothing of it is an emergency. */
function isForToday(told: Told[]): boolean {
  const alarms = told.filter(({ meaning }) => meaning === 'urgent')
  return alarms.length > 0 && alarms.every((alarm) => alarm.isForToday)
}

function tell(match: Found, senses: Found[], scene: Scene): Told[] {
  const meaning = SAME_MEANING[match.sense] ?? match.sense
  const confidence = SURE[match.sense] ?? USUAL
  if (meaning === 'period-started') return tellStart(match, senses, scene, confidence)
  if (meaning === 'no-cycle') return tellNoCycle(match, scene, confidence)
  if (meaning === 'died') return tellDeath(match, senses, scene, confidence)
  // Said to explain a need at the visit, it is no alarm; one of a day that is named is.
  if (match.sense === 'assault' && senses.some(isNeed) && scene.days.length === 0) return []
  if (match.sense === 'stop-it' && speaksOfBody(scene)) return []
  // Used as prescribed: no lapse.
  if (meaning === 'prep-lapse' && senses.some((other) => other.sense === 'prescribed' && overlaps(other, match)))
    return []
  if (isOfBlood(match, scene)) return []
  if (meaning === 'bleeding-ended') return [{ meaning, run: match, confidence, day: dayOf(match, scene) }]
  // "Yes, cancel it": whoever says yes to us speaks of the visit.
  if (match.sense === 'cancel-word' && scene.classes.some((found) => found.has('yes')))
    return [{ meaning: 'cannot-come', run: match, confidence: 0.85 }]
  if (match.sense === 'cancel-word')
    return [
      { meaning: 'stop', run: match, confidence },
      { meaning: 'cannot-come', run: match, confidence: 0.5 },
    ]
  if (!isMeaning(meaning)) return []
  if (match.sense === 'late-some-days' && isLongLate(match, scene))
    return [{ meaning: 'urgent', run: match, confidence, isForToday: true }]
  return [{ meaning, run: match, confidence, isWhole: match.whole, isForToday: FOR_TODAY.has(match.sense) }]
}

function isMeaning(sense: Sense | Meaning): sense is Meaning {
  return sense in REPLY_MEANINGS
}

/**
 * A death is told only where a person who lives is not: beside "my appointment", "I can't come" or "funeral" a
 * relative has died, and what is only asked or supposed is none. In doubt the clinic is not told that a living
 * patient is dead; a person reads it anyway.
 */
function tellDeath(match: Found, senses: Found[], scene: Scene, confidence: number): Told[] {
  const isMourned = senses.some((other) => other.sense === 'mourner')
  if (isMourned || scene.tokens[match.from]!.asks) return []
  return [{ meaning: 'died', run: match, confidence, isDoubtful: match.sense === 'kin-died' }]
}

const BLED: ReadonlySet<Sense> = new Set<Sense>(['period-started', 'started-short', 'still-bleeding'])

/**
 * No periods, said and not asked. Where blood is told of as well it is not that simple: a person reads it, and a
 * clinician hears of it.
 */
function tellNoCycle(match: Found, { matches, tokens }: Scene, confidence: number): Told[] {
  const bleeds = matches.some(({ sense, whole }) => BLED.has(sense) && !whole)
  return bleeds || tokens[match.from]!.asks ? [] : [{ meaning: 'no-cycle', run: match, confidence }]
}

const ENDING: ReadonlySet<Sense> = new Set<Sense>(['stop', 'stop-it', 'bleeding-ended', 'ended-short'])

/** "How do I stop the bleeding": no wish about texts, and no end of anything. */
function isOfBlood(match: Found, { classes, clauses }: Scene): boolean {
  if (!ENDING.has(match.sense)) return false
  const to = Math.min(match.to + 3, clauses.runs[clauses.of[match.to - 1]!]!.to)
  const after = classes.slice(match.from, to)
  if (after.some((found) => found.has('texts'))) return false
  const isBlood = after.some((found) => found.has('flow') || found.has('bleeds'))
  // The word before it, whatever clause that is in, or any of its own clause.
  const from = Math.min(clauses.runs[clauses.of[match.from]!]!.from, Math.max(0, match.from - 1))
  return isBlood && classes.slice(from, match.from + 1).some((found) => found.has('how'))
}

const BODY = ['bleeds', 'flow', 'period', 'pain']

/** "The bleeding is awful, I want it to stop" is no wish about texts. */
function speaksOfBody({ classes }: Scene): boolean {
  return classes.some((found) => BODY.some((name) => found.has(name)))
}

function isMoreThanYes({ meaning, isWhole }: Told): boolean {
  const { weight } = REPLY_MEANINGS[meaning]
  return weight === 'news' || (weight === 'yes' && isWhole !== true)
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
const SPEAK_OF_TOPICS: ReadonlySet<string> = new Set<string>(meaningsWith(({ holdsTopic }) => holdsTopic))

function confidenceOf(first: Told, also: Meaning[], senses: Found[]): number {
  const unsure = senses.some((sense) => sense.sense === 'unsure') ? 0.15 : 0
  const divided = also.some((meaning) => REPLY_MEANINGS[meaning].weight === 'news') ? 0.03 : 0
  return Math.round(Math.max(0.3, first.confidence - unsure - divided) * 100) / 100
}

function wordsOf(told: Told, scene: Scene): string[] {
  const runs = [told.run, ...(told.day && !overlaps(told.day, told.run) ? [told.day] : [])].sort(
    (a, b) => a.from - b.from,
  )
  return runs.flatMap((run) => scene.tokens.slice(run.from, run.to).flatMap((token) => token.written || []))
}

/**
 * The topic of a preparation question. When several are asked about, none: one approved sentence would answer only
 * half.
 */
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
