import { dateIn } from '../local-time.ts'

/**
 * What went wrong, or nearly. The kinds follow the hazards that `infra/hazards.md` lists; the wording is our own, no
 * source.
 */
export const NEAR_MISS_KINDS = {
  'told-late': 'Told too late, or not at all',
  'told-wrong': 'Wrong words, wrong date or wrong clinic',
  'wrong-person': 'It reached somebody else, or was seen by somebody else',
  misread: 'What a patient said was misread',
  'urgent-late': 'Something urgent was heard late',
  'wrong-time': 'The visit was booked or moved to a wrong time',
  'bad-date': 'A period was noted or reckoned wrongly',
  paper: 'Paper, or typing in what was on paper',
  down: 'The service was down or slow',
  other: 'Something else',
} as const
export type NearMissKind = keyof typeof NEAR_MISS_KINDS
export const NEAR_MISS_KIND_NAMES = Object.keys(NEAR_MISS_KINDS) as [NearMissKind, ...NearMissKind[]]

/** How far it came. Harm is for the clinic's own procedure first; it is kept here as well, to learn from. */
export const NEAR_MISS_REACH = {
  caught: 'Noticed before it reached a patient',
  reached: 'Reached a patient, no harm known',
  harmed: 'A patient was harmed: the clinic’s own procedure comes first',
} as const
export type NearMissReach = keyof typeof NEAR_MISS_REACH
export const NEAR_MISS_REACH_NAMES = Object.keys(NEAR_MISS_REACH) as [NearMissReach, ...NearMissReach[]]

/**
 * What went wrong or nearly did, so that it is learnt from. It names no patient and no visit: it stays when everything
 * about a patient is erased.
 */
export interface NearMiss {
  id: string
  clinicId: string
  happenedAt: Date
  kind: NearMissKind
  reach: NearMissReach
  /** What happened, without names. */
  words: string
  /** Who was called or told, and what was done at once; empty = nobody. */
  told: string
  by: string
  recordedAt: Date
  /** What was changed so that it does not happen again; null = nobody has looked into it yet. */
  review: { change: string; by: string; at: Date } | null
}

export const LONGEST_NEAR_MISS_WORDS = 2_000
/** Older things are told differently every time. */
const OLDEST_DAYS = 366
const DAY_MS = 86_400_000

/** Seven digits in a row, however they are grouped: a telephone number, or another that names somebody. */
const NUMBER = /(?:\d[ ().-]{0,2}){7,}/
/** A calendar date is none. */
const DATES = /\b\d{4}-\d{2}-\d{2}\b|\b\d{1,2}[./]\d{1,2}[./]\d{4}\b/g

/** Why words cannot be kept; null = they can. */
export function nearMissWordsFault(words: string): string | null {
  if (words.length > LONGEST_NEAR_MISS_WORDS) return `Say it in at most ${LONGEST_NEAR_MISS_WORDS} characters.`
  if (NUMBER.test(words.replaceAll(DATES, '')))
    return 'This looks like a telephone or health number. Leave out what names a patient.'
  return null
}

/** Why it cannot have happened then; null = it can. */
export function nearMissTimeFault(happenedAt: Date, zone: string, now: Date): string | null {
  if (happenedAt > now) return 'This is still to come. Give when it happened, by the clock of the clinic.'
  if (now.getTime() - happenedAt.getTime() > OLDEST_DAYS * DAY_MS)
    return `This is more than a year ago, before ${dateIn(new Date(now.getTime() - OLDEST_DAYS * DAY_MS), zone)}. Check the year.`
  return null
}
