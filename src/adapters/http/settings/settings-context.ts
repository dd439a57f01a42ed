import type { Actor, Permission } from '../../../domain/access/roles.ts'
import type { TextLibrary } from '../../../domain/messages/texts/library.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import type { SendingStop } from '../../../flows/ports/access.ts'
import type { ClinicClock } from '../desk/when.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

/** What every page of the settings starts from: as at the desk, but of no clinic. */
export interface SettingsContext extends ClinicClock {
  deps: Deps
  library: TextLibrary
  clinics: readonly Clinic[]
  now: Date
  /** In which times are shown, and by which clock: the clinics' own, where they share it. */
  zone: string
  said: string | null
  stops: readonly SendingStop[]
  who: Actor
  may(permission: Permission): boolean
  /** Where this service is reached, for what somebody else is told. */
  origin: string
  params: Record<string, string>
  query: Record<string, string>
  form: Record<string, string | string[]>
}

/** Everything ticked under one name. */
export function ticked({ form }: Pick<SettingsContext, 'form'>, name: string): string[] {
  const value = form[name]
  return value === undefined ? [] : [value].flat()
}

/** One value of the address, or nothing. */
export function asked({ query }: Pick<SettingsContext, 'query'>, name: string): string {
  const value: unknown = query[name]
  return typeof value === 'string' ? value.trim().slice(0, 80) : ''
}
