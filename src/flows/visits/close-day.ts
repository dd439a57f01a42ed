import type { Deps } from '../ports/deps.ts'

const MOST_A_DAY = 500

/**
 * Takes every free opening of an interval away, all or none. Held and booked times stay. @returns how many were taken
 * away
 */
export async function closeDay(deps: Deps, clinicId: string, { from, to }: { from: Date; to: Date }): Promise<number> {
  const removed = await deps.store.transact(async (tx) => {
    let count = 0
    for (const slot of await tx.slots.list({ clinicId, from, to, states: ['free', 'held'], limit: MOST_A_DAY })) {
      if (await tx.slots.remove(slot.id, deps.clock.now())) count++
    }
    return count
  })
  deps.notice('day-closed', { clinic: clinicId })
  return removed
}
