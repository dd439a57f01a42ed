import * as z from 'zod'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import type { Failure } from '../../../domain/failure.ts'
import type { BookingRequest } from '../../../flows/visits/book-visit.ts'
import { field, type PageContext } from '../desk/page.ts'

/** The booking form as it was typed. Every value is text; what is missing is empty. */
export interface BookFields {
  phone: string
  name: string
  lmp: string
  /** How sure the date is: `0`, `2` or `5` days either side, `unknown`, or `no-periods`. */
  sure: string
  usual: string
  date: string
  time: string
  clinician: string
  protocol: string
  language: string
  channel: string
  detail: string
  /** `yes` when the patient agreed. */
  consent: string
  /** Makes sending the form twice harmless. */
  key: string
}

export type Faults = Partial<Record<keyof BookFields, string>>

/** Read out word for word, so that what is recorded is what the patient was asked. */
export const CONSENT_WORDING = 'May we send you messages about this visit, to this number? They say how to prepare, and you can end them at any time.'

const USUAL: Partial<BookFields> = { sure: '0', protocol: 'liquid-based-cytology', language: 'en', channel: 'sms', detail: 'full' }
const NAMES: readonly (keyof BookFields)[] = ['phone', 'name', 'lmp', 'sure', 'usual', 'date', 'time', 'clinician', 'protocol', 'language', 'channel', 'detail', 'consent', 'key']

export function emptyFields(key: string, given: Partial<BookFields> = {}): BookFields {
  const empty = Object.fromEntries(NAMES.map((name) => [name, ''])) as unknown as BookFields
  return { ...empty, ...USUAL, key, ...given }
}

/** The fields of a posted form; an opening that was picked fills in date, time and clinician. */
export function readFields(sheet: PageContext): BookFields {
  const fields = Object.fromEntries(NAMES.map((name) => [name, field(sheet, name)])) as unknown as BookFields
  const [at = '', clinician = ''] = field(sheet, 'pick').split('|')
  const picked = /^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}$/.test(at)
  return picked ? { ...fields, date: at.slice(0, 10), time: at.slice(11), clinician } : fields
}

/** What a verdict on the timing rests on: the form says for which of it the verdict was shown. */
export function timingFacts({ lmp, sure, usual, date, time, protocol }: BookFields): string {
  return [lmp, sure, usual, date, time, protocol].join('|')
}

const usualDays = z.union([z.literal(''), z.coerce.number().int().min(15).max(90)])
const isDate = (text: string) => z.iso.date().safeParse(text).success

/** What the patient said of the cycle, or null while the form does not say enough. */
export function historyOf({ lmp, sure, usual }: BookFields, today: string): CycleHistory | null {
  const days = usualDays.safeParse(usual)
  const known = days.success && days.data !== '' ? { usualCycleDays: days.data } : {}
  if (sure === 'unknown') return { status: 'unknown', ...known }
  if (sure === 'no-periods') return { status: 'no-periods' }
  if (!isDate(lmp)) return null
  const give = Number(sure)
  return { status: 'cycling', lmp, toldOn: today, ...known, ...(give > 0 && { lmpGiveDays: give }) }
}

/** What is missing or cannot be read, by field. */
export function faultsOf(fields: BookFields): Faults {
  return {
    ...(fields.phone === '' && { phone: 'Give the number to reach the patient at.' }),
    ...(fields.name === '' && { name: 'Give the name.' }),
    ...(!/^(unknown|no-periods)$/.test(fields.sure) && !isDate(fields.lmp) && { lmp: 'Give the first day of the last period, or choose “Not known” or “No periods”.' }),
    ...(!usualDays.safeParse(fields.usual).success && { usual: 'Give a number of days from 15 to 90, or leave it empty.' }),
    ...(!isDate(fields.date) && { date: 'Give the date of the visit.' }),
    ...(!/^\d{2}:\d{2}$/.test(fields.time) && { time: 'Give the time of the visit.' }),
  }
}

/** The form as a booking. Call it when `faultsOf` finds nothing. */
export function requestOf(sheet: PageContext, fields: BookFields, today: string): BookingRequest {
  return {
    clinic: sheet.clinic.id,
    clinician: fields.clinician,
    protocol: fields.protocol,
    visit: `${fields.date}T${fields.time}`,
    patient: {
      name: fields.name,
      phone: fields.phone,
      language: fields.language || USUAL.language!,
      channel: fields.channel === 'voice' ? 'voice' : 'sms',
      detail: fields.detail === 'discreet' ? 'discreet' : 'full',
    },
    cycle: historyOf(fields, today)!,
    consent: fields.consent === 'yes' ? { recordedBy: sheet.who.name, wording: CONSENT_WORDING } : null,
    by: sheet.who.name,
  }
}

const FIELD_OF: Record<string, keyof BookFields> = {
  'patient.phone': 'phone',
  'patient.name': 'name',
  'patient.language': 'language',
  visit: 'time',
  zone: 'date',
  protocol: 'protocol',
  'cycle.lmp': 'lmp',
  'cycle.lmpGiveDays': 'sure',
  'cycle.usualCycleDays': 'usual',
}

/** A refusal as faults beside the fields it speaks of. */
export function faultsFrom({ detail }: Failure): Faults {
  const faults = detail.faults ?? [{ field: detail.field ?? 'visit', message: detail.message }]
  return Object.fromEntries(faults.map(({ field: path, message }) => [FIELD_OF[path] ?? 'date', message]))
}
