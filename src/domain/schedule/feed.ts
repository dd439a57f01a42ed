import type { Purpose } from '../visits/purpose.ts'
import type { TellBy } from './telling.ts'
import type { ScheduleEvent, ScheduleNews } from './schedule-news.ts'

/** What one kind of visit of theirs is here. */
export interface FeedVisitType {
  protocol: string
  purpose: Purpose
}

/** How one sender's schedule is read: its codes, its ids, its zone. Described by the site, never coded. */
export interface Feed {
  name: string
  /** IANA zone of times without an offset, where the clinic's own is not known. */
  zone: string
  /** WHATWG label of the charset where a message names none and is not UTF-8. */
  charset: string
  /** Which of the two ids of an appointment is its key (HL7 SCH-2 or SCH-1). */
  key: 'filler' | 'placer'
  /** Of several identifiers of a FHIR appointment, the one of this system is the key; null = the resource's own id. */
  keySystem: string | null
  /** Which of a patient's ids is the clinic's own number; empty = any. */
  patientId: { authority: string; type: string }
  /** Their code of a place → our clinic. `*` = every other place. */
  clinics: Readonly<Record<string, string>>
  /** Their code of a clinician → ours; one that is not listed is taken as it is. */
  clinicians: Readonly<Record<string, string>>
  /** Kinds of visit that concern us. All others are counted and let go. */
  types: Readonly<Record<string, FeedVisitType>>
  /** Their status or event → what it means, beyond what the standards say. */
  statuses: Readonly<Record<string, ScheduleEvent>>
  /** Their name of a language → ours. */
  languages: Readonly<Record<string, string>>
  /** Ours, for those of whom none is told that we write in; null = a person says which. */
  usualLanguage: string | null
  /** Where they say that a patient agreed to messages; null = nowhere: nothing is sent until consent is recorded. */
  consent: { field: string; yes: readonly string[] } | null
  /** Where they are told that a patient chose another time; null = nowhere: the call list says it. */
  tell: TellBy | null
  /** Minutes for which a visit must stay as it is before its first text. */
  settleMinutes: number
  /** With files: our names of columns → theirs. */
  columns: Readonly<Record<string, string>>
  /** With files: the order of day and month where a column leaves it open; null = such a file is refused. */
  dateOrder: 'day-month' | 'month-day' | null
  /** Whose HL7 v2 messages over MLLP are this feed's (MSH-3, MSH-4); empty = any. */
  hl7Sender: { application: string; facility: string }
  /** Messages marked as tests are refused (HL7 MSH-11 other than P). */
  production: boolean
  /** A family name that begins so is no patient. */
  testNames: readonly string[]
}

/** HL7 table 0008, as far as a schedule's messages need it. */
export type Ack = 'AA' | 'AE' | 'AR'

/** An answer that takes nothing. */
export interface Refusal {
  /** `AE`: content, a person must look. `AR`: not for us at all, or send it again later. */
  ack: 'AE' | 'AR'
  /** HL7 table 0357; FHIR and files use the nearest. */
  code: number
  /** Where, e.g. `SCH^1^11`, `Appointment.start`, `row 7, column "Date"`; empty = the whole. */
  at: string
  /** What is wrong and how to mend it; names no patient. */
  why: string
}

/** What was made of one message, before anything is done with it. */
export type MessageRead = (
  | {
      news: readonly ScheduleNews[]
      /** Why there is no news, or not all, where that is no fault: shown, and nothing follows. */
      doubts?: readonly string[]
    }
  | Refusal
) & {
  /** Of a table: the row, as a spreadsheet counts. */
  row?: number
}
