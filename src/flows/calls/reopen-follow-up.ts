import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { Failure } from '../../domain/failure.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'

/** Longer ago than this, a new follow-up says more than an old one. */
const UNDO_WITHIN_MS = 86_400_000

/**
 * Puts a follow-up back on the list that was closed by mistake. @throws not-found; too-late after a day, or when it is
 * open
 */
export async function reopenFollowUp(deps: Deps, id: string, by: string): Promise<FollowUp> {
  const since = new Date(deps.clock.now().getTime() - UNDO_WITHIN_MS)
  const followUp = await deps.store.transact(async (tx) => {
    const closed = orNotFound(await tx.followUps.get(id), 'follow-up')
    if (!(await tx.followUps.reopen(id, since)))
      throw new Failure('too-late', { message: 'This follow-up is open already, or was closed too long ago to undo.' })
    await noteEvent(tx, deps, closed.bookingId, 'follow-up-reopened', by, { followUp: id, reason: closed.reason })
    return (await tx.followUps.get(id))!
  })
  deps.notice('follow-up-reopened', { followUp: id })
  return followUp
}
