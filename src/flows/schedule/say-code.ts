import { badInput } from '../../domain/failure.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { needsOfVisits } from '../../domain/schedule/needs.ts'
import { unmappedOf, type Unmapped } from '../../domain/schedule/unmapped.ts'
import type { Deps } from '../ports/deps.ts'
import type { FeedPart } from '../ports/schedule.ts'
import { tryWaitingAgain } from './try-waiting-again.ts'

/** So many visits are asked for their codes: more wait for the same few. */
const MOST = 500

/** Codes for which visits of a feed wait. */
export async function unmappedCodes({ store: { read } }: Deps, feed: Feed): Promise<Unmapped> {
  const keys = await read.feeds.waiting(feed.name, MOST)
  const { known } = await read.feeds.look(feed.name, needsOfVisits(keys))
  return unmappedOf(known, keys, feed)
}

/**
 * Keeps what somebody says a code means, and tries what waits for it.
 * @throws bad-input for a code that nothing waits for
 */
export async function sayCode(
  deps: Deps,
  feed: Feed,
  { part, code, ours }: { part: FeedPart; code: string; ours: string },
): Promise<{ settled: number; waiting: number }> {
  if (!(await unmappedCodes(deps, feed))[part].includes(code))
    badInput('code', 'Nothing waits for this code any more. Open the page again.')
  const at = deps.clock.now()
  await deps.store.transact((tx) => tx.feeds.putCode({ feed: feed.name, part, code, ours }, at))
  return tryWaitingAgain(deps, feed.name)
}
