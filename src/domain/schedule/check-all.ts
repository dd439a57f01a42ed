import { outcomeLine, refusedLine, silentLine, type CheckLine } from './check-line.ts'
import type { Feed, MessageRead } from './feed.ts'
import { nothingKnown, remember, type Known } from './known.ts'
import { reconcile } from './reconcile.ts'

const WEEK_MS = 7 * 86_400_000

/**
 * Applies messages in order to what is known of nothing. The clock stands at the latest moment at which one was made;
 * in a file that tells of none, a week before the first visit: the same file always comes to the same.
 * @param at where the clock stands before the first message, if that is said
 */
export function checkAll(
  reads: readonly MessageRead[],
  feed: Feed,
  at: Date | null,
): { lines: CheckLine[]; known: Known } {
  const known = nothingKnown()
  let clock = at ?? earliest(newsOf(reads).map(({ madeAt }) => madeAt)) ?? beforeAll(reads)
  const lines = reads.flatMap((read, index) => {
    const n = index + 1
    if ('ack' in read) return [refusedLine(n, read)]
    if (read.news.length === 0) return [silentLine(n, read.doubts ?? [])]
    return read.news.map((news) => {
      if (news.madeAt && news.madeAt > clock) clock = news.madeAt
      const { outcome, kept } = reconcile(known, news, feed, clock)
      remember(known, kept)
      return outcomeLine(n, news, outcome, feed.zone)
    })
  })
  return { lines, known }
}

const newsOf = (reads: readonly MessageRead[]) => reads.flatMap((read) => ('news' in read ? read.news : []))

function earliest(moments: readonly (Date | null | undefined)[]): Date | null {
  const told = moments.flatMap((each) => each?.getTime() ?? [])
  return told.length === 0 ? null : new Date(told.reduce((a, b) => Math.min(a, b)))
}

function beforeAll(reads: readonly MessageRead[]): Date {
  const first = earliest(newsOf(reads).map(({ visit }) => visit?.startsAt))
  return new Date((first ?? new Date(0)).getTime() - WEEK_MS)
}
