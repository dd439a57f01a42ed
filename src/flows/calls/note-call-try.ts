import { TO_KNOW } from '../../domain/calls/call-endings.ts'
import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { Failure } from '../../domain/failure.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'

/** More open calls than one patient ever has. */
const MOST_OPEN = 100

/**
 * Notes that the patient was called and not reached; the follow-up stays open, and so does whatever else the patient
 * was called about at this clinic.
 * @throws not-found; too-late when it is closed
 */
export async function noteCallTry(deps: Deps, id: string, by: string): Promise<void> {
  const now = deps.clock.now()
  await deps.store.transact(async (tx) => {
    const followUp = orNotFound(await tx.followUps.get(id), 'follow-up')
    if (followUp.closedAt) throw new Failure('too-late', { message: 'Somebody has closed this follow-up already.' })
    for (const each of await oneCallFor(tx, followUp)) {
      const before = Array.isArray(each.detail.tries) ? (each.detail.tries as string[]) : []
      await tx.followUps.update({ ...each, detail: { ...each.detail, tries: [...before, now.toISOString()] } })
      await noteEvent(tx, deps, each.bookingId, 'call-tried', by, { followUp: each.id })
    }
  })
  deps.notice('call-tried', { followUp: id })
}

/** What one call to the patient is about. */
async function oneCallFor(tx: Tx, followUp: FollowUp): Promise<FollowUp[]> {
  const { patientId, clinicId } = followUp
  if (patientId === null || clinicId === null || TO_KNOW.includes(followUp.reason)) return [followUp]
  return tx.followUps.list({
    clinicId,
    patientIds: [patientId],
    open: true,
    butReasons: [...TO_KNOW],
    limit: MOST_OPEN,
  })
}
