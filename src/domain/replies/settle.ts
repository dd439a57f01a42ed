import { bareAnswer } from './answers.ts'
import { openingsIn } from './choice-words.ts'
import { findChoice } from './choice.ts'
import { clausesAround, isFilled, overlaps } from './clauses.ts'
import type { Match } from './matching.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import { asksSomething, wholeOf, type Scene } from './scene.ts'
import { byPrecedence, type Told } from './told.ts'
import type { Sense } from './vocabulary.ts'

/** Sorts by importance and takes away what another meaning explains better. */
export function settle(told: Told[], senses: Match<Sense>[], scene: Scene): Told[] {
  const kept = scene.context.choices > 0 ? withChoice(told, senses, scene) : told
  return kept
    .filter((each) => !isMoot(each, kept, senses, scene))
    .sort((a, b) => byPrecedence(a.meaning, b.meaning) || b.confidence - a.confidence)
}

function isMoot(each: Told, told: Told[], senses: Match<Sense>[], scene: Scene): boolean {
  const { meaning, isWhole, isDoubtful } = each
  if (isDoubtful) return told.some((other) => !REPLY_MEANINGS[other.meaning].besideDeath)
  if (meaning === 'not-started') return told.some((other) => other.meaning === 'period-started')
  if (meaning === 'urgent') return isOthersOrJoke(each, told, senses, scene)
  if (meaning !== 'confirm') return false
  const isThanked = told.some((other) => other.meaning === 'thanks') && isReceived(scene)
  if (isWhole === true && (isYesAndNo(scene) || isThanked)) return true
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
  const others = told.filter((each) => each.meaning !== 'confirm' && !isOfOpening(each, scene))
  const choice = findChoice(scene, senses, others)
  if (
    !choice ||
    others.some((each) => overlaps(each.run, choice) && REPLY_MEANINGS[each.meaning].weight !== 'courtesy')
  )
    return others.length === 0 ? tellNoneFits(senses, scene) : others
  return [...others, { meaning: 'choice', run: choice, confidence: 0.96, choice: choice.choice }]
}

/** "Is 3 still there?", "1st I can't": said of one opening among several, neither of blood nor of the visit. */
function isOfOpening({ meaning, run }: Told, scene: Scene): boolean {
  if (meaning !== 'still-bleeding' && meaning !== 'cannot-come') return false
  const clause = clausesAround(run, scene.clauses)
  const named = new Set(openingsIn(scene).flatMap((each) => (overlaps(each, clause) ? each.choice : [])))
  return named.size > 0 && named.size < scene.context.choices
}

/** "They all clash". */
function tellNoneFits(senses: Match<Sense>[], scene: Scene): Told[] {
  if (
    senses.some(({ sense }) => sense === 'what-if') ||
    !scene.classes.some((found) => found.has('none-fits')) ||
    asksSomething(scene)
  )
    return []
  return [{ meaning: 'cannot-come', run: wholeOf(scene), confidence: 0.85 }]
}

/** "No and yes", to a text that asked two things: nobody knows which is which. */
function saysBoth({ classes }: Scene): boolean {
  return ['yes', 'no'].every((name) => classes.some((found) => found.has(name)))
}

/** A yes that answers another question than whether the patient will come. */
function isOtherYes(scene: Scene): boolean {
  const { context, classes } = scene
  const { asked } = context
  return (
    asked === 'started' ||
    asked === 'day' ||
    (asked === 'either' &&
      (bareAnswer(scene) !== undefined || saysBoth(scene) || isFilled(wholeOf(scene), [], classes, NODS)))
  )
}

/** Words that agree, and to which of two questions nobody knows. */
const NODS = ['yes', 'nod', 'noted', 'filler']

/** "Yeah no". */
function isYesAndNo(scene: Scene): boolean {
  const { classes } = scene
  const isAll = isFilled(wholeOf(scene), [], classes, ['yes', 'no', 'filler'])
  const isBoth = classes.some((found) => found.has('yes')) && classes.some((found) => found.has('no'))
  return isAll && isBoth
}

/** "Got it, thanks": where nothing was asked, that is a courtesy. */
function isReceived(scene: Scene): boolean {
  const { classes, tokens, context, isPart } = scene
  if (context.asked !== undefined || context.choices > 0 || isPart || tokens.length === 0) return false
  const isNoted = (at: number) => classes.some((found, from) => from <= at && (found.get('noted')?.[0] ?? 0) > at)
  return (
    isFilled(wholeOf(scene), [], classes, ['noted', 'filler']) &&
    classes.some((found) => found.has('noted')) &&
    !classes.some((found, at) => ['yes', 'no', 'nod'].some((name) => found.has(name)) && !isNoted(at))
  )
}

const LAUGHTER = /^(?:lol|lmao|rofl|mdr|ptdr|(?:ha){2,}h?|(?:ja){2,}j?|(?:je){2,}|а?(?:ха){2,}х?|😂|🤣)$/u

/**
 * An alarm that is a friend's, or a manner of speaking about pain beside a laugh and "as every month". Both only beside
 * news of the patient's own period, so that somebody who writes for a friend is heard; in doubt it alarms.
 */
function isOthersOrJoke({ run }: Told, told: Told[], senses: Match<Sense>[], scene: Scene): boolean {
  const { classes, tokens } = scene
  const clause = clausesAround(run, scene.clauses)
  const isOwn = (each: Told) =>
    each.meaning === 'period-started' && !overlaps(clausesAround(each.run, scene.clauses), clause)
  if (!told.some(isOwn)) return false
  const friend = classes.findIndex((found, at) => at >= clause.from && at < run.to && found.has('acquaintance'))
  if (friend >= 0) return !classes.slice(friend, clause.to).some((found, i) => found.has('self') && friend + i < run.to)
  const isOfPain = classes.slice(clause.from, clause.to).some((found) => found.has('pain'))
  const isOfBlood = classes.slice(clause.from, clause.to).some((found) => found.has('bleeds') || found.has('flow'))
  const isLaugh = tokens.some(({ word }) => LAUGHTER.test(word)) && classes.some((found) => found.has('as-usual'))
  return isOfPain && !isOfBlood && isLaugh && senses.every((each) => each.sense !== 'urgent' || overlaps(each, clause))
}
