import { outcomeLine, refusedLine, silentLine, type CheckLine } from '../../domain/schedule/check-line.ts'
import type { Whole } from '../../domain/schedule/completeness.ts'
import type { Feed, MessageRead } from '../../domain/schedule/feed.ts'
import { remember } from '../../domain/schedule/known.ts'
import { needsOf } from '../../domain/schedule/needs.ts'
import { reconcile } from '../../domain/schedule/reconcile.ts'
import { keyOf, type ScheduleNews } from '../../domain/schedule/schedule-news.ts'
import type { Deps } from '../ports/deps.ts'
import type { KnownHere } from '../ports/schedule.ts'
import { absentLine, absentVisits } from './absent-visits.ts'
import { describedFeed } from './described-feed.ts'
import { isSameVisit } from './taking.ts'

/**
 * What `takeNews` would do, by the same rules on the same knowledge; nothing is written. What a visit meets only when
 * it is booked, such as a telephone number that is none, is not seen here.
 * @throws not-found where the site describes no such feed
 */
export async function previewNews(
  deps: Deps,
  name: string,
  reads: readonly MessageRead[],
  whole?: Whole,
): Promise<CheckLine[]> {
  const feed = await describedFeed(deps, name)
  const absent = whole && (await absentVisits(deps, feed, reads, whole))
  if (absent && 'ack' in absent) return [refusedLine(0, absent)]
  const news = reads.flatMap((read) => ('news' in read ? read.news : []))
  const here = await deps.store.read.feeds.look(feed.name, needsOf(news))
  const lines = reads.flatMap((read, index) => {
    const n = index + 1
    if ('ack' in read) return [refusedLine(n, read)]
    if (read.news.length === 0) return [silentLine(n, read.doubts ?? [])]
    return read.news.map((one) => lineOf(n, here, one, feed, deps.clock.now()))
  })
  return [...lines, ...(absent?.absent ?? []).map((each) => absentLine(each, feed))]
}

function lineOf(n: number, here: KnownHere, news: ScheduleNews, feed: Feed, now: Date): CheckLine {
  const { known, erased, refused } = here
  if (news.key && erased.has(keyOf(news.key)))
    return outcomeLine(n, news, { does: 'nothing', visit: null, why: 'Nothing may be kept of this visit.' }, feed.zone)
  const { outcome, kept } = reconcile(known, news, feed, now)
  const waits = kept.applied.some(([key, is]) => is && isSameVisit(refused.get(key), is))
  remember(known, waits ? { ...kept, applied: [] } : kept)
  const told = waits ? { does: 'nothing' as const, visit: null, why: 'Waits for a person already.' } : outcome
  return outcomeLine(n, news, told, feed.zone)
}
