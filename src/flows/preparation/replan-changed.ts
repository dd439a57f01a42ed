import { loadVisit } from '../lookups.ts'
import { makePlan } from './make-plan.ts'
import type { Deps } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

const BATCH = 100

/**
 * Plans anew every visit to come whose protocol says something else than when it was planned: what is not yet sent
 * follows the new protocol, what was sent stays said. Runs when a worker starts, since protocols are read at the start.
 * @returns how many visits were planned anew
 */
export async function replanChanged(deps: Deps): Promise<number> {
  let count = 0
  for (const { id, digest } of deps.protocols.values()) {
    for (;;) {
      const changed = await deps.store.read.bookings.plannedOtherwise(id, digest, deps.clock.now(), BATCH)
      for (const booking of changed) await replan(deps, booking.id, digest)
      count += changed.length
      if (changed.length < BATCH) break
    }
  }
  if (count > 0) await enqueueDue(deps)
  return count
}

async function replan(deps: Deps, id: string, digest: string): Promise<void> {
  await deps.store.transact(async (tx) => {
    const about = await loadVisit(tx, await tx.bookings.lock(id))
    // Another worker may have started at the same time.
    if (about.booking.planBasis === digest) return
    await makePlan(tx, deps, about)
    await noteEvent(tx, deps, id, 'replanned', 'daysix', { reason: 'protocol changed' })
  })
}
