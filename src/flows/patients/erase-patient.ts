import { orNotFound } from '../lookups.ts'
import type { Doer } from '../ports/access.ts'
import type { Deps } from '../ports/deps.ts'

/**
 * Erases a patient: what stays are counts by clinic and month, the record of who did what (ids only), and, as a keyed
 * hash, a wish not to be written to. Times to come are free again; messages still planned find nothing to do.
 * @returns how many records of each kind were removed. @throws not-found
 */
export async function erasePatient(deps: Deps, patientId: string, by: Doer): Promise<Record<string, number>> {
  const at = deps.clock.now()
  const counts = await deps.access.transact(async (tx) => {
    const removed = orNotFound(await tx.rights.erase(patientId, at), 'patient')
    await tx.audit.append([
      {
        at,
        actorKind: by.kind,
        actorId: by.id,
        what: 'patient-erased',
        subjects: [patientId],
        clinicId: null,
        facts: removed,
      },
    ])
    return removed
  })
  deps.notice('patient-erased', { patient: patientId })
  return counts
}
