import { badInput } from '../failure.ts'
import { otherDay, startOfDay } from '../local-time.ts'
import { DateTime } from 'luxon'
import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { MessageRead } from './feed.ts'
import type { OurVisit } from './our-visit.ts'
import { keyOf } from './schedule-news.ts'

/** Times of which a file is said to hold every visit. Half-open. */
export interface Whole {
  from: Date
  to: Date
}

/** Whole days of a zone, the last included. @throws bad-input where they end before they begin, or are too many */
export function wholeDays(from: CalendarDate, to: CalendarDate, zone: string): Whole {
  if (to < from) badInput('completeTo', 'The last day is before the first.')
  const whole = { from: startOfDay(from, zone), to: startOfDay(dayAfter(to), zone) }
  if (whole.to.getTime() - whole.from.getTime() > LONGEST_MS) badInput('completeTo', 'At most 366 days.')
  return whole
}

const LONGEST_MS = 367 * 86_400_000
const dayAfter = (day: CalendarDate) =>
  otherDay(DateTime.fromISO(day, { zone: 'utc' }) as DateTime<true>, 1).toISODate()

/** Of one or two that are absent nothing can be concluded about the file. Own judgement. */
const FEWEST = 3
/** A schedule does not lose more than this part of its visits at once. Own judgement. */
const MOST_SHARE = 1 / 3

export interface Absent {
  visits: readonly { key: string; visit: OurVisit }[]
  /** So many are absent that the file is at fault, and not the visits; null = it may be taken. */
  fault: string | null
}

/**
 * Visits that are booked here, lie ahead, and are not in a file that is said to hold them all. Perhaps they are called
 * off: that is for a person to find out.
 * @param booked what is booked here of the feed, at least within these times
 */
export function absentFrom(
  reads: readonly MessageRead[],
  booked: ReadonlyMap<string, OurVisit>,
  { from, to }: Whole,
  now: Date,
): Absent {
  const told = new Set(reads.flatMap((read) => ('news' in read ? read.news : [])).map(({ key }) => key && keyOf(key)))
  const ahead = [...booked].filter(([, { startsAt }]) => startsAt >= from && startsAt < to && startsAt > now)
  const visits = ahead.filter(([key]) => !told.has(key)).map(([key, visit]) => ({ key, visit }))
  const isFaulty = visits.length >= FEWEST && visits.length > ahead.length * MOST_SHARE
  return { visits, fault: isFaulty ? faultWords(visits.length, ahead.length) : null }
}

const faultWords = (absent: number, booked: number) =>
  `Of ${booked} visits that are booked here in these days ${absent} are not in the file: it was not sent whole, or is ` +
  'another clinic’s. Nothing of it was taken.'

/** Why a person is asked about a visit. */
export const ABSENT =
  'It is not among what could be read of a file that is said to hold every visit of its day. Look there whether it ' +
  'is called off; here it stays as it is.'
