import { LONGEST_ANSWER } from './answered-day.ts'
import { clausesAround, contains, isFilled, overlaps } from './clauses.ts'
import type { Match, Run } from './matching.ts'
import { asksSomething, wholeOf, type Scene } from './scene.ts'
import { isIntended } from './scope.ts'
import { meaningsWith } from './reading.ts'
import type { Remark, ReplyMeaning } from './reply-meaning.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import { CLINICAL_SENSES, HELPER_SENSES, type Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** Of the meanings, those of which so much is stated. */
function sensesWith(holds: (stated: ReplyMeaning) => boolean) {
  return meaningsWith(holds).filter((meaning) => meaning !== 'unclear')
}

const HELPERS: ReadonlySet<Sense> = new Set<Sense>(HELPER_SENSES)
// Helpers that still say what their clause is about.
const CARRYING: ReadonlySet<Sense> = new Set<Sense>([
  'started-short',
  'ended-short',
  'late-some-days',
  'cancel-word',
  'aside',
  'not-until',
  'stop-it',
  'kin-died',
  'takes',
  ...CLINICAL_SENSES,
])
// Said beside a meaning, not instead of one: never masked.
const REMARKS: ReadonlySet<Sense> = new Set<Sense>([
  'mask',
  'advert',
  'past-cycles',
  'may-have-none',
  'what-if',
  'unreal',
  'unsure',
  'someone-else',
  'companion',
  'clock',
  'ask',
  'aside',
  'mourner',
])
// They hide nothing, and nothing hides them.
const APART: ReadonlySet<Sense> = new Set<Sense>([...REMARKS, ...CLINICAL_SENSES, 'needs'])
// No longer pattern around them hides them: a stop or an alarm must not be missed.
const NEVER_HIDDEN: ReadonlySet<Sense> = new Set<Sense>(sensesWith(({ neverHidden }) => neverHidden))
// Where they hold more words than a mask inside them, they are meant.
const MORE_THAN_MASKS: ReadonlySet<Sense> = new Set<Sense>([...NEVER_HIDDEN, ...CLINICAL_SENSES, 'needs'])
// Beside these a day may stand: "it started yesterday", "yes, tomorrow".
const WITH_DAY: ReadonlySet<Sense> = new Set<Sense>([
  ...sensesWith(({ withDay }) => withDay),
  'started-short',
  'ended-short',
  'late-some-days',
  'not-until',
])
// Carrier words that say something else inside a longer text.
const ALONE: ReadonlySet<Sense> = new Set<Sense>(['stop-alone', 'cancel-word'])
/** Remarks that count wherever they stand, not in the same clause alone: where there are no periods, none begins. */
const ANYWHERE: ReadonlySet<Sense> = new Set<Remark>(['no-cycle', 'may-have-none', 'past-cycles'])
/** The remarks that take each away. */
const YIELDS: ReadonlyMap<Sense, readonly Sense[]> = new Map<Sense, readonly Sense[]>([
  ...sensesWith(() => true).map((sense) => [sense, REPLY_MEANINGS[sense].yieldsTo] as const),
  ['started-short', REPLY_MEANINGS['period-started'].yieldsTo],
  ['ended-short', REPLY_MEANINGS['bleeding-ended'].yieldsTo],
  ['kin-died', REPLY_MEANINGS.died.yieldsTo],
  ['not-until', ['someone-else']],
  ['late-some-days', ['what-if', 'someone-else']],
  ['past-cycles', REPLY_MEANINGS['no-cycle'].yieldsTo],
])

/** The patterns that hold, once masked, hidden, incomplete and unreal ones are taken away. */
export function holdingSenses(scene: Scene): Found[] {
  const masks = scene.matches.filter((match) => match.sense === 'mask')
  const seen = (isAdvert(scene) ? scene.matches.filter((match) => match.sense !== 'stop') : scene.matches).filter(
    (match) =>
      REMARKS.has(match.sense) ||
      !masks.some((mask) => overlaps(mask, match) && !(MORE_THAN_MASKS.has(match.sense) && isWider(match, mask))),
  )
  const hiding = seen.filter((match) => !match.whole && !APART.has(match.sense))
  const unhidden = seen.filter((match) => APART.has(match.sense) || !hiding.some((other) => hides(other, match, scene)))
  const complete = unhidden.filter((match) => !match.whole || isComplete(match, unhidden, scene))
  return complete.filter((match) => isHersAndReal(match, complete, scene) && isIntended(match, complete, scene))
}

/** An advertisement: it tells how to end its texts, and has a link or a number to call. */
function isAdvert({ matches, tokens }: Scene): boolean {
  return matches.some((match) => match.sense === 'advert') && tokens.some((token) => PREMIUM_NUMBER.test(token.word))
}

function isWider(match: Found, mask: Found): boolean {
  return contains(match, mask) && match.to - match.from > mask.to - mask.from
}

/** A word of denial stands in it. */
export function holdsNo(run: Run, { classes }: Scene): boolean {
  return classes.slice(run.from, run.to).some((found) => found.has('not'))
}

function hides(other: Found, match: Found, scene: Scene): boolean {
  if (other.sense === match.sense || !isWider(other, match)) return false
  if (NEVER_HIDDEN.has(match.sense) && other.sense !== 'late-some-days') return false
  // "My period never came" holds "never came", which is what it says.
  return !(other.sense === 'period-started' && match.sense === 'not-started' && holdsNo(match, scene))
}

/** A pattern of the `whole` kind fills its clause, and every other clause says something that is understood. */
function isComplete(match: Found, matches: Found[], scene: Scene): boolean {
  if (scene.isPart) return false
  const clause = clausesAround(match, scene.clauses)
  const again = matches.filter((other) => other.whole && other.sense === match.sense)
  const runs = [match, ...again, ...besides(match, matches, scene)]
  const fillers =
    match.sense === 'started-short' && scene.days.some((day) => overlaps(day, clause))
      ? ['filler', 'joint', 'dating']
      : ['filler', 'joint']
  if (ALONE.has(match.sense)) return isFilled(wholeOf(scene), runs, scene.classes, fillers)
  if (match.sense === 'started-short' && isDatedAnswer(match, clause, scene)) return true
  if (!isFilled(clause, runs, scene.classes, fillers)) return false
  if (
    match.sense === 'started-short' &&
    scene.tokens.length <= SHORT_ANSWER &&
    scene.days.some((day) => overlaps(day, clause))
  )
    return true
  if ((match.sense === 'stop' || match.sense === 'stop-it') && isPlainStop(match, clause, scene)) return true
  return scene.clauses.runs.every((run) => overlaps(run, clause) || isUnderstood(run, matches, scene))
}

/**
 * "It arrived whilst I was at bingo last night": where it was asked, unknown words may stand behind it and its day, but
 * none before it and none of anything else that may begin.
 */
function isDatedAnswer(match: Found, clause: Run, scene: Scene): boolean {
  const { classes, tokens, context, days } = scene
  if ((context.asked !== 'started' && context.asked !== 'day') || tokens.length > LONGEST_ANSWER) return false
  const [day, other] = days
  if (!day || other || day.tense !== 'past' || !overlaps(day, clause)) return false
  if (
    asksSomething(scene) ||
    classes.some((found, at) => !overlaps({ from: at, to: at + 1 }, day) && ELSE.some((name) => found.has(name)))
  )
    return false
  const isNext = day.from >= match.to && isFilled({ from: match.to, to: day.from }, [], classes, ['filler', 'dating'])
  const isIt = classes[match.from]!.has('it') && day.from >= match.to
  return (isNext || isIt) && isFilled({ from: clause.from, to: match.to }, [match], classes, ['filler', 'joint', 'yes'])
}

/** What may begin as well, is denied, or is somebody's own doing. */
const ELSE = ['other-start', 'not', 'no', 'beside-day', 'awaited', 'clean']

/** Days and times that may stand beside the pattern: any beside an event, only coming ones beside a yes. */
function besides(match: Found, matches: Found[], scene: Scene): Run[] {
  if (!WITH_DAY.has(match.sense)) return []
  const days =
    match.sense === 'confirm' ? scene.days.filter((day) => day.tense === 'ahead' || day.kind === 'weekday') : scene.days
  return [...days, ...matches.filter((other) => other.sense === 'clock')]
}

/** A clause that says something the vocabulary knows, or nothing but courtesies and days. */
export function isUnderstood(run: Run, matches: Found[], scene: Scene): boolean {
  const fillers = ['filler', 'joint', 'dating']
  if (isFilled(run, scene.days, scene.classes, fillers)) return true
  return matches.some((match) => {
    if (!overlaps(match, run) || (HELPERS.has(match.sense) && !CARRYING.has(match.sense))) return false
    return !match.whole || isFilled(run, [match, ...scene.days], scene.classes, fillers)
  })
}

/** "It started yesterday, ugh": with a day and this few words, the rest need not be understood. */
const SHORT_ANSWER = 9
/** A request in this few words is no advertisement. */
const SHORT_REPLY = 25
const PREMIUM_NUMBER = /\d{5}|https?|www|\.com/

/**
 * A carrier word that stands alone as the first or the last sentence of a short text is her stop, whatever else she
 * says. In capitals, with a please, or beside words of the clinic a comma parts it off as well.
 * Elsewhere, and beside links and long numbers (advertisements quote the word), it is not.
 */
function isPlainStop(match: Found, clause: Run, { tokens, classes }: Scene): boolean {
  if (tokens.length > SHORT_REPLY || tokens.some((token) => PREMIUM_NUMBER.test(token.word))) return false
  const written = tokens
    .slice(match.from, match.to)
    .map((token) => token.written)
    .join('')
  const isMeant =
    written === written.toUpperCase() ||
    clause.to - clause.from > match.to - match.from ||
    classes.some((found) => found.has('care'))
  const part = isMeant ? 1 : 2
  const isFirst = clause.from === 0 && (tokens[clause.to]?.before ?? 2) >= part
  const isLast = clause.to === tokens.length && tokens[clause.from]!.before >= part
  return isFirst || isLast
}

function isHersAndReal(match: Found, matches: Found[], scene: Scene): boolean {
  const yieldsTo = YIELDS.get(match.sense) ?? []
  if (yieldsTo.length === 0) return true
  const clause = clausesAround(match, scene.clauses)
  const isBefore = (other: Found) => other.from < match.to && other.from < clause.to && overlaps(other, clause)
  return !matches.some((other) => yieldsTo.includes(other.sense) && (ANYWHERE.has(other.sense) || isBefore(other)))
}
