import { bareAnswer } from './answers.ts'
import { findChoice } from './choice.ts'
import { overlaps } from './clauses.ts'
import type { Match } from './matching.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import type { Scene } from './scene.ts'
import { byPrecedence, type Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

/** Sorts by importance and takes away what another meaning explains better. */
export function settle(told: Told[], senses: Match<Sense>[], scene: Scene): Told[] {
  const kept = scene.context.choices > 0 ? withChoice(told, senses, scene) : told
  return kept
    .filter((each) => !isMoot(each, kept, scene))
    .sort((a, b) => byPrecedence(a.meaning, b.meaning) || b.confidence - a.confidence)
}

function isMoot({ meaning, isWhole, isDoubtful }: Told, told: Told[], scene: Scene): boolean {
  if (isDoubtful) return told.some((other) => !REPLY_MEANINGS[other.meaning].besideDeath)
  if (meaning === 'not-started') return told.some((other) => other.meaning === 'period-started')
  if (meaning !== 'confirm') return false
  if (told.some((other) => other.meaning === 'cannot-come')) return true
  // Beside news of a period a bare yes is part of the answer: "yes, it started".
  return (
    isWhole === true && (isOtherYes(scene) || told.some((other) => REPLY_MEANINGS[other.meaning].bleeding !== null))
  )
}

/**
 * While openings are on offer a yes is a choice, if it is a plain one, and else nothing: it may be meant for the
 * visit as it is.
 */
function withChoice(told: Told[], senses: Match<Sense>[], scene: Scene): Told[] {
  const others = told.filter(({ meaning }) => meaning !== 'confirm')
  const days = told.flatMap(({ day }) => day ?? [])
  const choice = findChoice(scene, senses, days)
  if (
    !choice ||
    others.some((each) => overlaps(each.run, choice) && REPLY_MEANINGS[each.meaning].weight !== 'courtesy')
  )
    return others
  return [...others, { meaning: 'choice', run: choice, confidence: 0.96, choice: choice.choice }]
}

/** "No and yes", to a text that asked two things: nobody knows which is which. */
function saysBoth({ classes }: Scene): boolean {
  return ['yes', 'no'].every((name) => classes.some((found) => found.has(name)))
}

/** A yes that answers another question than whether the patient will come. */
function isOtherYes(scene: Scene): boolean {
  const { asked } = scene.context
  return (
    asked === 'started' ||
    asked === 'day' ||
    (asked === 'either' && (bareAnswer(scene) !== undefined || saysBoth(scene)))
  )
}
