import type { Clinic } from '../../domain/region/clinic.ts'
import { isFictional } from '../../domain/patients/phone.ts'
import type { Deps } from '../ports/deps.ts'

/** Whether messages sent through the gateway of this name reach real phones. */
export function reachesPeople({ gateways }: Pick<Deps, 'gateways'>, name: string): boolean {
  const gateway = gateways.get(name)
  return gateway !== undefined && gateway.simulated !== true
}

/** No gateway reaches anybody: the service is being tried out, or is not set up yet. */
export function isTrial(deps: Pick<Deps, 'gateways'>): boolean {
  return ![...deps.gateways.keys()].some((name) => reachesPeople(deps, name))
}

/** Patients of this clinic are told in earnest to call a number at which nobody can ever answer. */
export function sendsToNobody(
  deps: Pick<Deps, 'gateways'>,
  { phone, settings }: Pick<Clinic, 'phone'> & { settings: Pick<Clinic['settings'], 'gateway'> },
): boolean {
  return isFictional(phone) && reachesPeople(deps, settings.gateway)
}
