import { UNSENT, type Message } from '../../domain/messages/message.ts'
import type { Deps } from '../ports/deps.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { SUPERSEDED } from './refusal.ts'
import { enqueueDue } from './enqueue-due.ts'

/**
 * A message that was made for another number, language or channel than the patient's: it came back
 * from its gateway after the patient was changed, or was made at that very moment. Until everything
 * is planned anew it goes on waiting, so that at no moment nobody is going to tell.
 */
export async function renewOutdated(deps: Deps, { id, patientId }: Message): Promise<void> {
  await deps.store.transact(async (tx) => {
    await followPatient(tx, deps, patientId!)
    // About a visit that has begun nothing is planned any more.
    const facts = { code: SUPERSEDED, endedAt: deps.clock.now() }
    await tx.messages.move(id, UNSENT, 'withdrawn', facts)
  })
  await enqueueDue(deps)
}
