import { Failure } from '../../domain/failure.ts'
import { outcomeLine, refusedLine, silentLine, type CheckLine } from '../../domain/schedule/check-line.ts'
import type { Whole } from '../../domain/schedule/completeness.ts'
import type { Feed, MessageRead, Refusal } from '../../domain/schedule/feed.ts'
import { needsOf } from '../../domain/schedule/needs.ts'
import type { ScheduleNews } from '../../domain/schedule/schedule-news.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { absentVisits, tellAbsent } from './absent-visits.ts'
import { describedFeed } from './described-feed.ts'
import { followTaken, Taking } from './taking.ts'

/** News of one transaction: a file brings thousands. */
const AT_ONCE = 50

/** What may plan messages that are due. */
const PLANS: ReadonlySet<CheckLine['does']> = new Set(['amend', 'move', 'cancel', 'merge', 'no-show'])

/** One piece of news, or a word about a message without any. */
type Item = { n: number } & ({ news: ScheduleNews } | { refusal: Refusal } | { silent: readonly string[] })

/**
 * Takes what was read of a feed, in order, and makes the visits here what they are with their clinic. What cannot be
 * done is for a person, and keeps nothing else from being done.
 * @param whole times of which this is said to hold every visit: those that are absent are put to a person
 * @returns a line for each, as `daysix feed-check` writes them
 * @throws not-found where the site describes no such feed; an error of the database: then what is not told was not kept
 */
export async function takeNews(
  deps: Deps,
  name: string,
  reads: readonly MessageRead[],
  whole?: Whole,
): Promise<CheckLine[]> {
  const feed = await describedFeed(deps, name)
  const absent = whole && (await absentVisits(deps, feed, reads, whole))
  if (absent && 'ack' in absent) return inOne(deps, feed, [{ n: 0, refusal: absent }])
  const lines = await takeAll(deps, feed, reads)
  return absent ? [...lines, ...(await tellAbsent(deps, feed, absent))] : lines
}

async function takeAll(deps: Deps, feed: Feed, reads: readonly MessageRead[]): Promise<CheckLine[]> {
  const items = reads.flatMap(itemsOf)
  const lines: CheckLine[] = []
  for (let at = 0; at < items.length; at += AT_ONCE)
    lines.push(...(await takeSome(deps, feed, items.slice(at, at + AT_ONCE))))
  if (lines.some(({ does }) => PLANS.has(does))) await enqueueDue(deps)
  return lines
}

function itemsOf(read: MessageRead, index: number): Item[] {
  const n = index + 1
  if ('ack' in read) return [{ n, refusal: read }]
  if (read.news.length === 0) return [{ n, silent: read.doubts ?? [] }]
  return read.news.map((news) => ({ n, news }))
}

/** All in one transaction; where one fails, each in its own, and that one goes to a person. */
async function takeSome(deps: Deps, feed: Feed, items: readonly Item[]): Promise<CheckLine[]> {
  try {
    return await inOne(deps, feed, items)
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    const lines: CheckLine[] = []
    for (const item of items) lines.push(...(await inOne(deps, feed, [item]).catch(toPerson(deps, feed, item))))
    return lines
  }
}

/** What stands in the way is a person's: what was told is kept, the visit stays as it was. */
function toPerson(deps: Deps, feed: Feed, item: Item): (error: unknown) => Promise<CheckLine[]> {
  return (error) => {
    if (!(error instanceof Failure)) throw error
    return inOne(deps, feed, [item], error)
  }
}

async function inOne(deps: Deps, feed: Feed, items: readonly Item[], failed?: Failure): Promise<CheckLine[]> {
  const news = items.flatMap((item) => ('news' in item ? item.news : []))
  const { lines, taken } = await deps.store.transact(async (tx) => {
    const here = await tx.feeds.load(feed.name, needsOf(news))
    const taking = new Taking(tx, deps, feed, here, failed)
    const told: CheckLine[] = []
    for (const item of items) told.push(await lineOf(taking, feed, item))
    await finish(tx, deps, feed, taking, told, news)
    return { lines: told, taken: taking.taken }
  })
  await followTaken(deps, taken)
  return lines
}

async function lineOf(taking: Taking, feed: Feed, item: Item): Promise<CheckLine> {
  if ('silent' in item) return silentLine(item.n, item.silent)
  if ('refusal' in item) {
    taking.refuse(item.refusal)
    return refusedLine(item.n, item.refusal)
  }
  return outcomeLine(item.n, item.news, await taking.take(item.news), feed.zone)
}

async function finish(
  tx: Tx,
  deps: Deps,
  feed: Feed,
  taking: Taking,
  lines: readonly CheckLine[],
  news: readonly ScheduleNews[],
): Promise<void> {
  const now = deps.clock.now()
  const counts = new Map<string, number>()
  for (const { does } of lines) counts.set(does, (counts.get(does) ?? 0) + 1)
  const made = news.flatMap(({ madeAt }) => madeAt?.getTime() ?? [])
  const madeAt = made.length === 0 ? null : new Date(made.reduce((a, b) => Math.max(a, b)))
  await tx.feeds.keep(feed.name, taking.here, taking.changed, now)
  await tx.feeds.count(feed.name, now.toISOString().slice(0, 10), counts, { at: now, madeAt })
  await tx.feeds.addFaults(feed.name, taking.taken.faults)
}
