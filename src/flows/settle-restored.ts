import { lostWorth } from './claim-messages.ts'
import { wholeBooking } from './lookups.ts'
import type { Deps } from './ports.ts'

const MOST = 100_000

/**
 * After a restore: whatever was due between the backup and now may have been sent by the service that was lost. It is not
 * sent again; what mattered goes on the call list.
 * @returns how many messages that were.
 */
export async function settleRestored(deps: Deps): Promise<number> {
  const now = deps.clock.now()
  await deps.store.read.dispatch.enqueueDue(now, MOST)
  const due = await deps.store.read.dispatch.overdue(now, MOST)
  for (const { messageId } of due) {
    await deps.store.transact(async (tx) => {
      const message = await tx.messages.lock(messageId)
      if (message?.state !== 'queued') return
      await tx.messages.move(messageId, ['queued'], 'undelivered', { code: 'restored', endedAt: now })
      const about = message.bookingId === null ? null : await wholeBooking(tx, await tx.bookings.get(message.bookingId))
      if (about) await lostWorth(tx, deps, message, about)
    })
  }
  return due.length
}
