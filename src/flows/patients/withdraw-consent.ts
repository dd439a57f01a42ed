import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { followPatient, lockVisits } from './follow-patient.ts'
import type { Deps } from '../ports/deps.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

/**
 * Takes back consent to messages: nothing more is sent by that channel, and every visit not yet told
 * of goes on the call list.
 * @param channel null = every one
 * @returns how many consents were withdrawn. @throws not-found
 */
export async function withdrawConsent(deps: Deps, patientId: string, channel: Channel | null): Promise<number> {
  const withdrawn = await deps.store.transact(async (tx) => {
    await lockVisits(tx, deps, [patientId])
    const count = await tx.patients.withdrawConsents(patientId, channel, deps.clock.now())
    await followPatient(tx, deps, patientId)
    return count
  })
  await enqueueDue(deps)
  return withdrawn
}
