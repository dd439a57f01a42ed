import { badInput } from '../../domain/failure.ts'
import { knownZone } from '../../domain/local-time.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { REGION } from '../messages/stop-sending.ts'
import type { Deps } from '../ports/deps.ts'
import { sendsToNobody } from './in-earnest.ts'

/** Ids that stand for something else in addresses of the desk and of the settings. */
const TAKEN: readonly string[] = ['assets', 'events', 'new']

/**
 * Adds a clinic or changes its rules, from the API or the settings page.
 * @param wish with the number as it was written
 * @returns the clinic as it is kept
 * @throws bad-input by field: a number or zone that is none; in production a number at which nobody can answer
 */
export async function putClinic(deps: Pick<Deps, 'store' | 'gateways' | 'policy'>, wish: Clinic): Promise<Clinic> {
  const clinic = checkedClinic(deps, wish)
  await deps.store.transact((tx) => tx.clinics.put(clinic))
  return clinic
}

/** The same without keeping it. @throws bad-input */
export function checkedClinic(deps: Pick<Deps, 'gateways' | 'policy'>, wish: Clinic): Clinic {
  if (wish.id === REGION) badInput('id', 'This word stands for all clinics. Choose another id.')
  const clinic = { ...wish, phone: toE164(wish.phone, wish.country), zone: knownZone(wish.zone) }
  if (deps.policy.production && sendsToNobody(deps, clinic)) badInput('phone', FICTION)
  return clinic
}

const FICTION = 'This number is set apart for fiction: nobody answers there. Write the number at which the clinic does.'

/** An id for addresses, from the clinic's name; another clinic's id is never taken. */
export function newClinicId(name: string, known: readonly string[]): string {
  const plain = name.normalize('NFKD').toLowerCase().replaceAll(/\p{M}/gu, '')
  const stem = plain.replaceAll(/[^a-z0-9]+/g, '-').replaceAll(/^-|-$/g, '') || 'clinic'
  const isFree = (id: string) => ![REGION, ...TAKEN, ...known].includes(id)
  let id = stem
  for (let number = 2; !isFree(id); number++) id = `${stem}-${number}`
  return id
}
