import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { Purpose } from '../visits/purpose.ts'

/**
 * What an appointment is called by whoever keeps the schedule. Compared sign for sign: leading zeros and capitals
 * count. `occurrence` tells the visits of a series apart; empty = there is but one.
 */
export interface AppointmentKey {
  id: string
  /** Who gave the id (HL7 EI.2, FHIR `identifier.system`); empty = not said. */
  namespace: string
  occurrence: string
}

/** The key as one word: `id^namespace^occurrence`, with what stands for `^` in HL7 inside the parts. */
export function keyOf({ id, namespace, occurrence }: AppointmentKey): string {
  return [id, namespace, occurrence].map((part) => part.replaceAll('\\', '\\E\\').replaceAll('^', '\\S\\')).join('^')
}

/** The key that a word of `keyOf` stands for. */
export function keyFrom(word: string): AppointmentKey {
  const plain = (part = '') => part.replaceAll('\\S\\', '^').replaceAll('\\E\\', '\\')
  const [id, namespace, occurrence] = word.split('^')
  return { id: plain(id), namespace: plain(namespace), occurrence: plain(occurrence) }
}

/**
 * What happened at the clinic, in the schedule's own words made plain. `entered-in-error` is no cancellation: the visit
 * never was. `times-opened` and `times-closed` are about the diary, `patient` and `patients-merged` about people alone.
 */
export type ScheduleEvent =
  | 'booked'
  | 'changed'
  | 'moved'
  | 'cancelled'
  | 'series-ended'
  | 'entered-in-error'
  | 'no-show'
  | 'arrived'
  | 'times-opened'
  | 'times-closed'
  | 'patient'
  | 'patients-merged'

/** A value as it was told: undefined = not told, leave what is known; null = told to be none. */
export type Told<T> = T | null | undefined

/** Somebody's id: `type` and `authority` as HL7 table 0203 and CX.4 have them, empty where not said. */
export interface PatientId {
  value: string
  authority: string
  type: string
}

export interface ToldPatient {
  ids: readonly PatientId[]
  name?: Told<string>
  /** As written, with what kind it is said to be: `mobile`, `fixed`, `unknown`. Best first. */
  phones?: Told<readonly { number: string; kind: 'mobile' | 'fixed' | 'unknown' }[]>
  email?: Told<string>
  birthDate?: Told<CalendarDate>
  /** The sender's own code or name of a language; a feed's table says which of ours it is. */
  language?: Told<string>
  died?: Told<boolean>
  /** First day of the last period, with the day on which it was told. */
  lmp?: Told<{ day: CalendarDate; toldOn: CalendarDate | null }>
}

/** Codes are the sender's own; a feed's description says which clinic, clinician, protocol they are. */
export interface ToldVisit {
  startsAt?: Told<Date>
  minutes?: Told<number>
  /** Place, e.g. HL7 AIL-3 or a FHIR location: every code told, the nearest first. */
  places: readonly string[]
  clinicians: readonly string[]
  /** Kinds of visit told, e.g. SCH-8, AIS-3, `serviceType`: the first that the feed knows counts. */
  types: readonly string[]
  /** The sender's own status (SCH-25, `Appointment.status`), empty where none was told. */
  status: string
  purpose?: Told<Purpose>
  dueBy?: Told<CalendarDate>
  overbooked?: boolean
  /** The sender says that the patient agreed to messages: as the feed's own field has it. */
  consent?: Told<boolean>
}

/** Times of the diary that are opened or closed. */
export interface ToldTimes {
  from: Date
  to: Date
  place: string
  clinician: string
}

/** At a clinic of ours. */
export type OurTimes = ToldTimes & { clinic: string }

/** One piece of news of a clinic's own schedule, whatever brought it: a message, a resource, a row of a file. */
export interface ScheduleNews {
  /** Who sent it, as they name themselves (MSH-3/4, a file's name); `messageId` is unique with it. */
  sender: string
  /** The sender's own id of this very message (MSH-10, `meta.versionId`, a row's number); empty = none. */
  messageId: string
  event: ScheduleEvent
  /** Null for news of people or times alone. */
  key: AppointmentKey | null
  /** When the sender made it; null = not told, then the order of arrival counts. */
  madeAt: Date | null
  /** The sender's own count of changes (iCalendar SEQUENCE, a FHIR version); null = none. Counts before `madeAt`. */
  sequence: number | null
  visit: ToldVisit | null
  patient: ToldPatient | null
  /** With `patients-merged`: ids that are no more. */
  mergedIds?: readonly PatientId[]
  times?: readonly ToldTimes[]
  /** What was read only in part, in words that name no patient: shown beside what was done. */
  doubts: readonly string[]
}
