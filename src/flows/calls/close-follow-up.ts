import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { Failure } from '../../domain/failure.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'

/** Closes a follow-up, recording who and with which outcome. @throws not-found; too-late when somebody was quicker */
export async function closeFollowUp(deps: Deps, id: string, by: string, outcome: string): Promise<FollowUp> {
  return deps.store.transact(async (tx) => {
    const followUp = orNotFound(await tx.followUps.get(id), 'follow-up')
    if (!(await tx.followUps.close(id, by, outcome, deps.clock.now()))) {
      throw new Failure('too-late', { message: 'Somebody has closed this follow-up already.' })
    }
    await noteEvent(tx, deps, followUp.bookingId, 'follow-up-closed', by, { followUp: id, reason: followUp.reason })
    return (await tx.followUps.get(id))!
  })
}
