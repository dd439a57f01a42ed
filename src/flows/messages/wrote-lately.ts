import type { Patient } from '../../domain/patients/patient.ts'
import type { Deps, Tx } from '../ports/deps.ts'

const DAY_MS = 86_400_000

/** To this clinic: what was written to another one gives nobody here leave to answer. */
export async function wroteLately(tx: Tx, deps: Deps, { phone, clinicId }: Patient): Promise<boolean> {
  const replies = await tx.replies.fromPhone(phone, new Date(deps.clock.now().getTime() - DAY_MS))
  return replies.some((reply) => reply.clinicId === clinicId)
}
