import { bareAnswer } from './answers.ts'
import { findChoice } from './choice.ts'
import { overlaps } from './clauses.ts'
import type { Match } from './matching.ts'
import type { Meaning } from './reading.ts'
import type { Scene } from './scene.ts'
import { PRECEDENCE, type Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

/** Beside these a bare yes is part of the answer: "yes, it started". */
const ABOUT_BLEEDING = new Set<Meaning>(['period-started', 'not-started', 'still-bleeding', 'bleeding-ended'])

/** Sorts by importance and takes away what another meaning explains better. */
export function settle(told: Told[], senses: Match<Sense>[], scene: Scene): Told[] {
  const kept = scene.context.choices > 0 ? withChoice(told, senses, scene) : told
  return kept
    .filter((each) => !isMoot(each, kept, scene))
    .sort((a, b) => PRECEDENCE.indexOf(a.meaning) - PRECEDENCE.indexOf(b.meaning) || b.confidence - a.confidence)
}

function isMoot({ meaning, isWhole, isDoubtful }: Told, told: Told[], scene: Scene): boolean {
  if (isDoubtful) return told.some((other) => !BESIDE_DEATH.has(other.meaning))
  if (meaning === 'not-started') return told.some((other) => other.meaning === 'period-started')
  if (meaning !== 'confirm') return false
  if (told.some((other) => other.meaning === 'cannot-come')) return true
  return isWhole === true && (isOtherYes(scene) || told.some((other) => ABOUT_BLEEDING.has(other.meaning)))
}

/**
 * While openings are on offer a yes is a choice, if it is a plain one, and else nothing: it may be meant for the
 * visit as it is.
 */
function withChoice(told: Told[], senses: Match<Sense>[], scene: Scene): Told[] {
  const others = told.filter(({ meaning }) => meaning !== 'confirm')
  const days = told.flatMap(({ day }) => day ?? [])
  const choice = findChoice(scene, senses, days)
  if (!choice || others.some((each) => overlaps(each.run, choice) && each.meaning !== 'thanks')) return others
  return [...others, { meaning: 'choice', run: choice, confidence: 0.96, choice: choice.choice }]
}

/** A yes that answers another question than whether the patient will come. */
function isOtherYes(scene: Scene): boolean {
  const { asked } = scene.context
  return asked === 'started' || asked === 'day' || (asked === 'either' && bareAnswer(scene) !== undefined)
}

/** What a family says beside a death. */
const BESIDE_DEATH = new Set<Meaning>(['died', 'stop', 'wrong-person', 'thanks', 'help', 'rejoin'])
