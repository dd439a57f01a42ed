import type { Clinic } from '../../../domain/region/clinic.ts'
import { checkedClinic } from '../../../flows/region/put-clinic.ts'
import { Failure } from '../../../domain/failure.ts'
import { field } from '../desk/page.ts'
import { clinicSchema } from '../schemas.ts'
import { CLINIC_FIELDS, type ClinicField } from './clinic-fields.ts'
import type { Faults } from './form-fields.ts'
import type { SettingsContext } from './settings-context.ts'

/** What stands in the form, by path. */
export type Typed = Record<string, string>

/** What was typed, as it was. */
export function typedOf(sheet: SettingsContext): Typed {
  return Object.fromEntries(CLINIC_FIELDS.map(({ path }) => [path, field(sheet, path)]))
}

/** A clinic as the form shows it. */
export function shownOf(clinic: object): Typed {
  return Object.fromEntries(CLINIC_FIELDS.map((each) => [each.path, written(each, valueAt(clinic, each.path))]))
}

function valueAt(within: unknown, path: string): unknown {
  return path.split('.').reduce((value: unknown, key) => (value as Record<string, unknown> | null)?.[key], within)
}

function written({ kind }: ClinicField, value: unknown): string {
  if (value === null || value === undefined) return ''
  if (kind === 'percent') return String(Math.round(Number(value) * 100))
  if (kind === 'yes') return value === true ? 'yes' : ''
  return String(value)
}

/** The clinic that was typed, or what is wrong with it, by field. It is the API's own check. */
export function readClinic(
  { deps }: Pick<SettingsContext, 'deps'>,
  id: string,
  typed: Typed,
): { clinic: Clinic } | { faults: Faults } {
  const read = clinicSchema.safeParse(bodyOf(typed))
  const faults = minorFaults(typed)
  for (const { path, message } of read.error?.issues ?? []) addFault(faults, path.join('.'), message)
  if (!read.success || Object.keys(faults).length > 0) return { faults: inOrder(faults) }
  try {
    return { clinic: checkedClinic(deps, { id, ...read.data }) }
  } catch (error) {
    if (!(error instanceof Failure) || error.code !== 'bad-input') throw error
    return { faults: { [error.detail.field!]: error.detail.message } }
  }
}

/** As the API takes it. */
function bodyOf(typed: Typed): object {
  const body = {}
  for (const each of CLINIC_FIELDS) {
    // A rule for minors is one thing, or none.
    if (!each.path.startsWith('settings.minors') || typed['settings.minors.then'] !== '')
      put(body, each.path.split('.'), meant(each, typed[each.path] ?? ''))
  }
  return body
}

function put(body: Record<string, unknown>, [first, ...rest]: string[], value: unknown): void {
  if (rest.length === 0) body[first!] = value
  else put((body[first!] ??= {}) as Record<string, unknown>, rest, value)
}

function meant({ kind, mayBeNone }: ClinicField, text: string): unknown {
  if (kind === 'yes') return text === 'yes'
  if (text === '') return mayBeNone ? null : ''
  if (kind === 'percent') return Number(text) / 100
  return kind === 'number' ? Number(text) : text
}

function minorFaults(typed: Typed): Faults {
  if (typed['settings.minors.then'] !== '' || typed['settings.minors.below'] === '') return {}
  return { 'settings.minors.then': 'Say what becomes of the messages, or leave out the age.' }
}

/** The schema's words are for programs; a number's are said here. A part's fault stands at its first field. */
function addFault(faults: Faults, path: string, message: string): void {
  const at =
    CLINIC_FIELDS.find((each) => each.path === path) ?? CLINIC_FIELDS.find((each) => each.path.startsWith(path))
  faults[at?.path ?? path] ??= at === undefined ? message : faultWords(at, message)
}

function faultWords({ kind, least, most, label }: ClinicField, message: string): string {
  if (kind === 'number' || kind === 'percent') return `${label}: write a whole number from ${least} to ${most}.`
  if (/^(Invalid|Too)/.test(message)) return `${label}: write it, no longer than there is room for.`
  const days = /^(weekdays|weekend): (.*)$/.exec(message)
  return days ? `${days[2]!.charAt(0).toUpperCase()}${days[2]!.slice(1)}.` : message
}

function inOrder(faults: Faults): Faults {
  const known = CLINIC_FIELDS.map(({ path }) => path).filter((path) => faults[path] !== undefined)
  const rest = Object.keys(faults).filter((path) => !known.includes(path))
  return Object.fromEntries([...known, ...rest].map((path) => [path, faults[path]!]))
}
