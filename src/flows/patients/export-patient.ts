import type { Doer, Held } from '../ports/access.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'

export interface PatientExport {
  exportedAt: string
  patientId: string
  held: Held
}

/** Everything that is held on a patient, to be handed to the patient. @throws not-found */
export async function exportPatient({ access, clock }: Deps, patientId: string, by: Doer): Promise<PatientExport> {
  const at = clock.now()
  const held = await access.transact(async (tx) => {
    const all = orNotFound(await tx.rights.held(patientId), 'patient')
    await tx.audit.append([
      {
        at,
        actorKind: by.kind,
        actorId: by.id,
        what: 'patient-exported',
        subjects: [patientId],
        clinicId: null,
        facts: {},
      },
    ])
    return all
  })
  return { exportedAt: at.toISOString(), patientId, held }
}
