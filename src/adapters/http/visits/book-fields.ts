import * as z from 'zod'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import type { Failure } from '../../../domain/failure.ts'
import type { BookingRequest } from '../../../flows/visits/booking-request.ts'
import { PURPOSE_NAMES, type Purpose } from '../../../domain/visits/purpose.ts'
import { LONGEST_MINUTES, SHORTEST_MINUTES } from '../../../domain/visits/duration.ts'
import { askedOf, RECEIVER_WORDING } from '../../../flows/patients/record-consent.ts'
import { isOther, toldReach, type ReachFields } from './reach-fields.ts'
import { understood } from './understood.ts'
import { chosenHistory } from './cycle-choices.ts'
import { field } from '../desk/page.ts'
import type { PageContext } from '../desk/page-context.ts'

/** The booking form as it was typed. Every value is text; what is missing is empty. */
export interface BookFields extends ReachFields {
  phone: string
  name: string
  /** Second identifiers. */
  birth: string
  own: string
  lmp: string
  /** How sure the date is: `0`, `2` or `5` days either side, or one of `CYCLE_CHOICES` instead. */
  sure: string
  usual: string
  date: string
  time: string
  /** How long the visit lasts, in minutes; empty = as usual. */
  minutes: string
  clinician: string
  protocol: string
  /** Why the patient comes, and by when the specimen is due. */
  purpose: string
  due: string
  language: string
  /** The last day of the consent. */
  until: string
  /** `yes` when the patient agreed. */
  consent: string
  /** To whom the form read the question out: the patient, or the `receiver` known here. */
  readTo: string
  /** The time, by `timeOnForm`, that is booked on purpose though the clinician is busy then. */
  overbook: string
  /** Makes sending the form twice harmless. */
  key: string
}

export type Faults = Partial<Record<keyof BookFields, string>>

/** Read out word for word, so that what is recorded is what the patient was asked. */
const CONSENT_WORDING =
  'May we send you messages about this visit, to this number? They say how to prepare, and you can end them at any time.'

/** What is read out to whoever reads the messages, by the way they are to go. */
export function wordingFor(reader: 'patient' | 'receiver', channel: string): string {
  return askedOf(reader === 'receiver' ? RECEIVER_WORDING : CONSENT_WORDING, channel)
}

const USUAL: Partial<BookFields> = {
  sure: '0',
  protocol: 'liquid-based-cytology',
  purpose: 'routine',
  language: 'en',
}
const NAMES: readonly (keyof BookFields)[] = [
  'phone',
  'name',
  'birth',
  'own',
  'lmp',
  'sure',
  'usual',
  'date',
  'time',
  'minutes',
  'clinician',
  'protocol',
  'purpose',
  'due',
  'language',
  'channel',
  'detail',
  'reach',
  'email',
  'relation',
  'receiver',
  'open',
  'until',
  'consent',
  'readTo',
  'overbook',
  'key',
]

export function emptyFields(key: string, given: Partial<BookFields> = {}): BookFields {
  const empty = Object.fromEntries(NAMES.map((name) => [name, ''])) as unknown as BookFields
  return { ...empty, ...USUAL, key, ...given }
}

/** The fields of a posted form; an opening that was picked fills in date, time and clinician. */
export function readFields(sheet: PageContext): BookFields {
  const typed = Object.fromEntries(NAMES.map((name) => [name, field(sheet, name)])) as unknown as BookFields
  const fields = understood(sheet, typed)
  const [at = '', clinician = ''] = field(sheet, 'pick').split('|')
  const picked = /^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}$/.test(at)
  return picked ? { ...fields, date: at.slice(0, 10), time: at.slice(11), clinician } : fields
}

/** What a verdict on the timing rests on: the form says for which of it the verdict was shown. */
export function timingFacts({ lmp, sure, usual, date, time, protocol, purpose, due }: BookFields): string {
  return [lmp, sure, usual, date, time, protocol, purpose, due].join('|')
}

const usualDays = z.union([z.literal(''), z.coerce.number().int().min(15).max(90)])
const lasting = z.union([z.literal(''), z.coerce.number().int().min(SHORTEST_MINUTES).max(LONGEST_MINUTES)])
const LASTING_FAULT = `Give ${SHORTEST_MINUTES} to ${LONGEST_MINUTES} minutes, or leave it empty.`
export const isDate = (text: string) => z.iso.date().safeParse(text).success

/** What the patient said of the cycle, or null while the form does not say enough. */
export function historyOf({ lmp, sure, usual }: BookFields, today: string): CycleHistory | null {
  const days = usualDays.safeParse(usual)
  const known = days.success && days.data !== '' ? { usualCycleDays: days.data } : {}
  const chosen = chosenHistory(sure)
  if (chosen) return chosen.status === 'unknown' ? { ...chosen, ...known } : chosen
  if (!isDate(lmp)) return null
  const give = Number(sure)
  return { status: 'cycling', lmp, toldOn: today, ...known, ...(give > 0 && { lmpGiveDays: give }) }
}

const AS_DATE = 'Write it as 1 Nov, 1 Nov 2026, or 3 weeks ago.'

/** What is missing or cannot be read, by field. */
export function faultsOf(fields: BookFields): Faults {
  return {
    ...(fields.phone === '' && { phone: 'Give the number to reach the patient at.' }),
    ...(fields.name === '' && { name: 'Give the name.' }),
    ...(fields.birth !== '' &&
      !isDate(fields.birth) && { birth: `Give the birth date, or leave it empty. ${AS_DATE}` }),
    ...(fields.own.trim().length > 40 && { own: 'Give at most 40 characters.' }),
    ...(!chosenHistory(fields.sure) &&
      !isDate(fields.lmp) && {
        lmp: `Give the first day of the last period, or choose “Not known” or “No periods”. ${AS_DATE}`,
      }),
    ...(!usualDays.safeParse(fields.usual).success && {
      usual: 'Give a number of days from 15 to 90, or leave it empty.',
    }),
    ...(isOther(fields.relation) && fields.receiver === '' && { receiver: 'Give the name of whoever receives.' }),
    ...(fields.until !== '' &&
      !isDate(fields.until) && { until: `Give the last day of the consent, or none. ${AS_DATE}` }),
    ...(!isDate(fields.date) && { date: `Give the date of the visit. ${AS_DATE}` }),
    ...(fields.due !== '' &&
      !isDate(fields.due) && { due: `Give the day by which it is due, or leave it empty. ${AS_DATE}` }),
    ...(!/^\d{2}:\d{2}$/.test(fields.time) && { time: 'Give the time of the visit, such as 9:30 or 2 pm.' }),
    ...(!lasting.safeParse(fields.minutes).success && { minutes: LASTING_FAULT }),
  }
}

/** Why the patient comes and by when, as far as the form says. */
export function boundsOf({ purpose, due }: BookFields): { purpose: Purpose; dueBy: string | null } {
  const known = PURPOSE_NAMES.find((name) => name === purpose)
  return { purpose: known ?? 'routine', dueBy: isDate(due) ? due : null }
}

/** Which time the form asks for: leave to overbook one is none to overbook another. */
export const timeOnForm = ({ date, time, minutes, clinician }: BookFields): string =>
  [date, time, minutes, clinician].join('|')

/** How long the visit lasts, where the form says so. */
export function minutesIn({ minutes }: BookFields): { minutes?: number } {
  const told = lasting.safeParse(minutes)
  return told.success && told.data !== '' ? { minutes: told.data } : {}
}

/** The form as a booking. Call it when `faultsOf` finds nothing. */
export function requestOf(sheet: PageContext, fields: BookFields, today: string): BookingRequest {
  return {
    clinic: sheet.clinic.id,
    clinician: fields.clinician,
    protocol: fields.protocol,
    visit: `${fields.date}T${fields.time}`,
    ...minutesIn(fields),
    overbook: fields.overbook === timeOnForm(fields),
    patient: {
      name: fields.name,
      phone: fields.phone,
      ...(fields.birth !== '' && { birthDate: fields.birth }),
      ...(fields.own !== '' && { ownNumber: fields.own.trim() }),
      language: fields.language || USUAL.language!,
      ...toldReach(fields),
    },
    ...boundsOf(fields),
    cycle: historyOf(fields, today)!,
    consent: consentOf(sheet, fields),
    by: sheet.who.name,
  }
}

/** Who was asked: whoever the form says reads the messages, else whomever it named when it was shown. */
export function askedFor(fields: BookFields): 'patient' | 'receiver' {
  const { receiver } = toldReach(fields)
  const isReceiver = receiver === undefined ? fields.readTo === 'receiver' : receiver !== null
  return isReceiver ? 'receiver' : 'patient'
}

function consentOf({ who }: PageContext, fields: BookFields): BookingRequest['consent'] {
  const { consent, until } = fields
  if (consent !== 'yes') return null
  const givenBy = askedFor(fields)
  const wording = wordingFor(givenBy, fields.channel)
  return { recordedBy: who.name, wording, givenBy, ...(until !== '' && { until }) }
}

const FIELD_OF: Record<string, keyof BookFields> = {
  'patient.phone': 'phone',
  'patient.name': 'name',
  'patient.birthDate': 'birth',
  'patient.ownNumber': 'own',
  'patient.language': 'language',
  'patient.channel': 'channel',
  'patient.detail': 'detail',
  'patient.email': 'email',
  'patient.receiver': 'relation',
  'consent.until': 'until',
  'consent.givenBy': 'consent',
  visit: 'time',
  minutes: 'minutes',
  zone: 'date',
  protocol: 'protocol',
  dueBy: 'due',
  'cycle.lmp': 'lmp',
  'cycle.lmpGiveDays': 'sure',
  'cycle.usualCycleDays': 'usual',
}

/** A refusal as faults beside the fields it speaks of. */
export function faultsFrom({ detail }: Failure): Faults {
  const faults = detail.faults ?? [{ field: detail.field ?? 'visit', message: detail.message }]
  return Object.fromEntries(faults.map(({ field: path, message }) => [FIELD_OF[path] ?? 'date', message]))
}
