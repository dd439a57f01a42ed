import { Failure } from '../../domain/failure.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'

/** Notes that she was called and not reached; the follow-up stays open. @throws not-found; too-late when it is closed */
export async function noteCallTry(deps: Deps, id: string, by: string): Promise<void> {
  const now = deps.clock.now()
  await deps.store.transact(async (tx) => {
    const followUp = orNotFound(await tx.followUps.get(id), 'follow-up')
    if (followUp.closedAt) throw new Failure('too-late', { message: 'Somebody has closed this follow-up already.' })
    const before = Array.isArray(followUp.detail.tries) ? (followUp.detail.tries as string[]) : []
    await tx.followUps.update({ ...followUp, detail: { ...followUp.detail, tries: [...before, now.toISOString()] } })
    await noteEvent(tx, deps, followUp.bookingId, 'call-tried', by, { followUp: id })
  })
  deps.notice('call-tried', { followUp: id })
}
