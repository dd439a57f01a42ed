import { Failure } from '../../domain/failure.ts'
import { countsOf, outcomeLine, refusedLine, silentLine, type CheckLine } from '../../domain/schedule/check-line.ts'
import type { Whole } from '../../domain/schedule/completeness.ts'
import type { Feed, MessageRead, Refusal } from '../../domain/schedule/feed.ts'
import { needsOf } from '../../domain/schedule/needs.ts'
import type { ScheduleNews } from '../../domain/schedule/schedule-news.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { absentVisits, tellAbsent } from './absent-visits.ts'
import { describedFeed } from './described-feed.ts'
import { followTaken, Taking } from './taking.ts'
import { unmetLine, type Versions } from './versions.ts'

/** News of one transaction: a file brings thousands. */
const AT_ONCE = 50

/** What may plan messages that are due. */
const PLANS: ReadonlySet<CheckLine['does']> = new Set(['amend', 'move', 'cancel', 'merge', 'no-show'])

/** One piece of news, or a word about a message without any. */
type Item = { n: number; isFirst: boolean; isLast: boolean } & (
  { news: ScheduleNews } | { refusal: Refusal } | { silent: readonly string[] }
)

/**
 * Takes what was read of a feed, in order, and makes the visits here what they are with their clinic. What cannot be
 * done is for a person, and keeps nothing else from being done.
 * @param whole times of which this is said to hold every visit: those that are absent are put to a person
 * @returns a line for each, as `daysix feed-check` writes them
 * @throws not-found where the site describes no such feed; an error of the database: then what is not told was not
 *   kept
 */
export async function takeNews(
  deps: Deps,
  name: string,
  reads: readonly MessageRead[],
  whole?: Whole,
): Promise<CheckLine[]> {
  const feed = await describedFeed(deps, name)
  const absent = whole && (await absentVisits(deps, feed, reads, whole))
  if (absent && 'ack' in absent) return inOne({ deps, feed }, [{ n: 0, isFirst: true, isLast: true, refusal: absent }])
  const lines = await takeAll({ deps, feed }, reads)
  return absent ? [...lines, ...(await tellAbsent(deps, feed, absent))] : lines
}

/**
 * The same of resources that have an address, each as far as what is asked of its version holds.
 * @throws Unmet where all was to be taken or nothing
 */
export async function takeVersioned(
  deps: Deps,
  name: string,
  reads: readonly MessageRead[],
  versions: Versions,
): Promise<CheckLine[]> {
  return takeAll({ deps, feed: await describedFeed(deps, name), versions }, reads)
}

async function takeAll(task: Task, reads: readonly MessageRead[]): Promise<CheckLine[]> {
  const { deps, versions } = task
  const items = reads.flatMap(itemsOf)
  const step = versions?.isWhole ? Math.max(items.length, 1) : AT_ONCE
  const lines: CheckLine[] = []
  for (let at = 0; at < items.length; at += step) lines.push(...(await takeSome(task, items.slice(at, at + step))))
  if (lines.some(({ does }) => PLANS.has(does))) await enqueueDue(deps)
  return lines
}

/** What goes for all of it. */
interface Task {
  deps: Deps
  feed: Feed
  versions?: Versions
}

function itemsOf(read: MessageRead, index: number): Item[] {
  const only = { n: index + 1, isFirst: true, isLast: true }
  if ('ack' in read) return [{ ...only, refusal: read }]
  const { news, doubts = [] } = read
  if (news.length === 0) return [{ ...only, silent: doubts }]
  return news.map((one, at) => ({ n: only.n, isFirst: at === 0, isLast: at === news.length - 1, news: one }))
}

/** All in one transaction; where one fails, each in its own, and that one goes to a person. */
async function takeSome(task: Task, items: readonly Item[]): Promise<CheckLine[]> {
  if (task.versions?.isWhole) return takeWhole(task, items)
  try {
    return await inOne(task, items)
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    const lines: CheckLine[] = []
    for (const item of items) lines.push(...(await inOne(task, [item]).catch(toPerson(task, item))))
    return lines
  }
}

/** What stands in the way is a person's: what was told is kept, the visit stays as it was. */
function toPerson(task: Task, item: Item): (error: unknown) => Promise<CheckLine[]> {
  return (error) => {
    if (!(error instanceof Failure)) throw error
    return inOne(task, [item], new Map([[item, error]]))
  }
}

/** All in one transaction, and again with whatever failed put to a person, until all of it is taken. */
async function takeWhole(task: Task, items: readonly Item[]): Promise<CheckLine[]> {
  const failed = new Map<Item, Failure>()
  for (;;) {
    let trying: Item | undefined
    try {
      return await inOne(task, items, failed, (item) => (trying = item))
    } catch (error) {
      if (!(error instanceof Failure) || trying === undefined || failed.has(trying)) throw error
      failed.set(trying, error)
    }
  }
}

/** @param failed what stood in the way of which, when it was tried before */
async function inOne(
  task: Task,
  items: readonly Item[],
  failed: ReadonlyMap<Item, Failure> = new Map(),
  trying: (item: Item) => void = () => {},
): Promise<CheckLine[]> {
  const { deps, feed } = task
  const news = items.flatMap((item) => ('news' in item ? item.news : []))
  const { lines, taken } = await deps.store.transact(async (tx) => {
    const here = await tx.feeds.load(feed.name, needsOf(news))
    const taking = new Taking(tx, deps, feed, here)
    const told: CheckLine[] = []
    for (const item of items) {
      trying(item)
      told.push(await takeOne(task, tx, taking, item, failed.get(item)))
    }
    await finish(tx, deps, feed, taking, told, news)
    return { lines: told, taken: taking.taken }
  })
  await followTaken(deps, taken)
  return lines
}

/** One, if what was asked of its version holds; counted once the last of what it says is taken. */
async function takeOne(task: Task, tx: Tx, taking: Taking, item: Item, failed?: Failure): Promise<CheckLine> {
  const { deps, feed, versions } = task
  const { n, isFirst, isLast } = item
  if (versions && !(isFirst ? await versions.lets(tx, feed, n) : versions.stillLets(n)))
    return unmetLine(n, versions.standing.get(n))
  const line = await lineOf(taking, feed, item, failed)
  const told = { news: 'news' in item ? item.news : null, at: deps.clock.now() }
  if (line.ack === 'AA' && isLast) await versions?.count(tx, feed, n, told)
  return line
}

async function lineOf(taking: Taking, feed: Feed, item: Item, failed?: Failure): Promise<CheckLine> {
  if ('silent' in item) return silentLine(item.n, item.silent)
  if ('refusal' in item) {
    taking.refuse(item.refusal)
    return refusedLine(item.n, item.refusal)
  }
  return outcomeLine(item.n, item.news, await taking.take(item.news, failed), feed.zone)
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
  const made = news.flatMap(({ madeAt }) => madeAt?.getTime() ?? [])
  const madeAt = made.length === 0 ? null : new Date(made.reduce((a, b) => Math.max(a, b)))
  await tx.feeds.keep(feed.name, taking.here, taking.changed, now)
  await tx.feeds.count(feed.name, countsOf(lines), now, { madeAt })
  await tx.feeds.addFaults(feed.name, taking.taken.faults)
}
