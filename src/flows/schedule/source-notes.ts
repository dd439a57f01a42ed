import type { Deps } from '../ports/deps.ts'

/** A source of a feed cannot be read: shown on its page, since nobody else says so. */
export async function noteFault({ store, clock, newId }: Deps, feed: string, why: string): Promise<void> {
  const at = clock.now()
  const fault = { id: newId('h'), at, does: 'refuse' as const, clinicId: null, key: '', why }
  await store.transact((tx) => tx.feeds.addFaults(feed, [fault]))
}

/** A source was reached and has nothing new: it is not silent. */
export async function noteHeard({ store, clock }: Deps, feed: string): Promise<void> {
  await store.transact((tx) => tx.feeds.count(feed, new Map(), clock.now(), { madeAt: null }))
}
