import { Failure } from '../../domain/failure.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { needsOfVisits } from '../../domain/schedule/needs.ts'
import type { Outcome } from '../../domain/schedule/outcome.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import type { Deps } from '../ports/deps.ts'
import { describedFeed } from './described-feed.ts'
import { followTaken, Taking } from './taking.ts'

/** More than ever wait; what is left waits for the next time. */
const MOST = 2_000

/**
 * Looks again at every visit of a feed that waits for a person, with the description as it is now: somebody has said
 * what a code means, a number was mended here, or a time has passed.
 * @returns how many need wait no longer, and how many wait on
 * @throws not-found where the site describes no such feed
 */
export async function tryWaitingAgain(deps: Deps, name: string): Promise<{ settled: number; waiting: number }> {
  const feed = await describedFeed(deps, name)
  const keys = await deps.store.read.feeds.waiting(name, MOST)
  let settled = 0
  for (const key of keys) if (await isSettled(deps, feed, key)) settled++
  if (settled > 0) await enqueueDue(deps)
  return { settled, waiting: keys.length - settled }
}

/** Of every feed; where one cannot be tried the others are. @throws the first fault */
export async function tryAllWaitingAgain(deps: Deps): Promise<void> {
  const faults: unknown[] = []
  for (const name of deps.feeds.keys()) await tryWaitingAgain(deps, name).catch((error: unknown) => faults.push(error))
  if (faults.length > 0) throw faults[0]
}

async function isSettled(deps: Deps, feed: Feed, key: string): Promise<boolean> {
  return inOne(deps, feed, key).catch((error: unknown) => {
    if (!(error instanceof Failure)) throw error
    return inOne(deps, feed, key, error)
  })
}

async function inOne(deps: Deps, feed: Feed, key: string, failed?: Failure): Promise<boolean> {
  const { taking, isStill } = await deps.store.transact(async (tx) => {
    const here = await tx.feeds.load(feed.name, needsOfVisits([key]))
    const trial = new Taking(tx, deps, feed, here)
    const outcome = here.waits.has(key) ? await trial.again(key, failed) : null
    await tx.feeds.keep(feed.name, here, trial.changed, deps.clock.now())
    const counts = new Map(outcome && DONE.has(outcome.does) ? [[outcome.does, 1] as const] : [])
    await tx.feeds.count(feed.name, counts, deps.clock.now(), null)
    await tx.feeds.addFaults(feed.name, trial.taken.faults)
    return { taking: trial, isStill: here.waits.has(key) }
  })
  await followTaken(deps, taking.taken)
  return !isStill
}

const DONE: ReadonlySet<Outcome['does']> = new Set(['book', 'amend', 'move', 'cancel', 'no-show'])
