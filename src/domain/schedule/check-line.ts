import { inZone } from '../local-time.ts'
import type { Ack, MessageRead } from './feed.ts'
import type { Outcome } from './outcome.ts'
import type { AppointmentKey, ScheduleNews } from './schedule-news.ts'
import { keyOf } from './schedule-news.ts'

/** One line of `daysix feed-check`: what a message would do. FIXED. */
export interface CheckLine {
  n: number
  does: Outcome['does'] | 'refuse'
  /** Start of the visit at the clinic, e.g. `2026-03-20T10:30-03:00`. */
  visit?: string
  /** The appointment's id with its namespace and occurrence, as far as they were told. */
  key?: string
  why?: string
  ack: Ack
}

/** How many did what. */
export function countsOf(lines: readonly Pick<CheckLine, 'does'>[]): Map<CheckLine['does'], number> {
  const counts = new Map<CheckLine['does'], number>()
  for (const { does } of lines) counts.set(does, (counts.get(does) ?? 0) + 1)
  return counts
}

/** What was refused before anything was done with it. */
export function refusedLine(n: number, { ack, at, why }: Extract<MessageRead, { ack: string }>): CheckLine {
  return { n, does: 'refuse', why: at === '' ? why : `${at}: ${why}`, ack }
}

/** A message that brings no news: a kind that is read and of no use here. */
export function silentLine(n: number, doubts: readonly string[]): CheckLine {
  return { n, does: 'nothing', why: doubts.join(' ') || 'There is nothing in it that concerns us.', ack: 'AA' }
}

export function outcomeLine(n: number, news: ScheduleNews, outcome: Outcome, zone: string): CheckLine {
  const visit = 'visit' in outcome ? outcome.visit : null
  const why = [outcome.why, ...news.doubts].filter(Boolean).join(' ')
  return {
    n,
    does: outcome.does,
    ...(visit && { visit: inZone(visit.startsAt, zone).toFormat("yyyy-MM-dd'T'HH:mmZZ") }),
    ...(news.key && { key: shortKey(news.key) }),
    ...(why !== '' && { why }),
    ack: ('ack' in outcome && outcome.ack) || 'AA',
  }
}

const shortKey = (key: AppointmentKey) => keyOf(key).replace(/\^+$/, '')
