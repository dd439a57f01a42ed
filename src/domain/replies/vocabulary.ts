import type { Quotes } from './quotes.ts'
import { MEANINGS, type Meaning } from './reading.ts'
import type { Spelling } from './spelling.ts'

/** Said beside any meaning, for a clinician. */
export const CLINICAL_SENSES = [
  'today-bleeding',
  'today-pregnancy',
  'today-late',
  'today-pain',
  'assault',
  'confides',
  'may-wait',
  'abnormal-bleeding',
  'bleeding-risk',
  'prescribed',
  'stopped-medicine',
  'anatomy',
  'age',
  'bleeding-days',
  'bleeding-weeks',
  'bleeding-since',
] as const

/**
 * What a pattern says, finer than a meaning.
 * - `started-short`: says that something began, not what ("it started yesterday").
 * - `stop-alone`: a stop only when nothing else is said ("end", "quit", "leave me alone").
 * - `cancel-word`: a carrier word that may also mean the appointment ("cancel").
 * - `mask`: words that look like something else ("trial period"); hides what it overlaps.
 * - `advert`: quotes a carrier word ("txt STOP to"); beside a link or a long number nothing in the text is a stop.
 * - `past-cycles`: words of the menopause or of an operation: bleeding is then no start. `may-have-none`: words of what
 *   may keep periods away; none is then awaited.
 * - `what-if`: only supposed ("if"). `unreal`: not so, or not yet ("should"). `unsure`: perhaps ("I think").
 * `someone-else`:
 *   not hers. `companion`: of hers, and has no periods; what such a person cannot do is not hers either.
 * - `ask`: opens a question. `aside`: understood, but of no weight ("what should I do"). `clock`: a time of day beside
 * a day.
 * - `late-some-days`: her period is late by days.
 * - `not-until`: denies a start before a day, and so tells one on it ("it didn't start until yesterday").
 * - `takes`: a yes to the one opening on offer.
 * - `stop-it`: wants something to stop, not said what.
 * - `kin-died`: of a relative who may be the patient. `mourner`: the words of a patient who is alive.
 * - `today-bleeding`, `today-pregnancy`, `today-late`, `today-pain`: alarming, and no emergency by themselves.
 * - `assault`: alarming, unless it explains what the patient `needs` at the visit: a woman, an interpreter, a ramp.
 * - `may-wait`: a birth, a loss, a procedure, an infection or an earlier specimen, after which some wait.
 * - `confides`: wants to speak with a clinician.
 * - `abnormal-bleeding`, `prescribed`, `stopped-medicine`, `anatomy`: for a clinician. So are `bleeding-risk` ("after
 *   the birth") and a high `age` where blood is spoken of, and long `bleeding-days`, `bleeding-weeks`,
 * `bleeding-since`.
 */
export const HELPER_SENSES = [
  'started-short',
  'ended-short',
  'stop-alone',
  'cancel-word',
  'mask',
  'advert',
  'past-cycles',
  'may-have-none',
  'what-if',
  'unreal',
  'unsure',
  'someone-else',
  'companion',
  'ask',
  'aside',
  'late-some-days',
  'clock',
  'not-until',
  'takes',
  'stop-it',
  'kin-died',
  'mourner',
  'needs',
  ...CLINICAL_SENSES,
] as const
export type Sense = Exclude<Meaning, 'unclear'> | (typeof HELPER_SENSES)[number]

/** Every sense, for checking the files. */
export const SENSES: ReadonlySet<string> = new Set<string>([
  ...MEANINGS.filter((meaning) => meaning !== 'unclear'),
  ...HELPER_SENSES,
])

/** How a day can be said; `when.ts` says which day each is. */
export const DAY_KINDS = [
  'today',
  'earlier-today',
  'yesterday',
  'night',
  'before-yesterday',
  'evening',
  'ahead',
  'vague',
  'weekday',
  'last-weekday',
  'next-weekday',
  'a-day-ago',
  'days-ago',
  'a-week-ago',
  'a-fortnight-ago',
  'weeks-ago',
  'hours-ago',
  'minutes-ago',
  'for-days',
  'for-a-week',
  'cycle-day',
  'day-of-month',
  'day-of-last-month',
] as const
export type DayKind = (typeof DAY_KINDS)[number]

/** What it means to have come to the end of a pattern. */
export interface Pattern<S extends string = Sense> {
  sense: S
  whole: boolean
  /** It must open a clause. */
  opens: boolean
  part?: Part
}

/** One of the `of` parts of a pattern `a & b`, which may stand anywhere in the text. */
export interface Part {
  group: string
  index: number
  of: number
}

/** Patterns as a tree: those that begin alike share their first steps, so that a text is compared with all at once. */
export interface PatternNode<S extends string = Sense> {
  ends: Pattern<S>[]
  words: Map<string, PatternNode<S>[]>
  classes: Map<string, PatternNode<S>>
  gap?: PatternNode<S>
  comma?: PatternNode<S>
  /** While compiling: the node behind each set of words. */
  choices: Map<string, PatternNode<S>>
}

/** One language, ready for matching. */
export interface Language extends Spelling {
  code: string
  classes: Map<string, { name: string; words: string[] }[]>
  days: PatternNode<DayKind>
  phrases: PatternNode
  values: Map<string, number>
  weekdays: Map<string, number>
  months: Set<string>
  topics: Map<string, string>
}

export interface Vocabulary {
  languages: Map<string, Language>
  /** Every known word or misspelling → the languages it is a word of, as indices into `order`. */
  words: Map<string, number[]>
  order: Language[]
  quotes: Quotes
}
