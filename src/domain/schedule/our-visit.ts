import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { Purpose } from '../visits/purpose.ts'

/** A visit of theirs as it would be booked here. */
export interface OurVisit {
  clinic: string
  clinician: string
  protocol: string
  purpose: Purpose
  dueBy: CalendarDate | null
  startsAt: Date
  minutes: number | null
  overbooked: boolean
  consent: boolean
  patient: OurPatient
}

export interface OurPatient {
  name: string
  /** As written; the clinic's country says how it is read. */
  phone: string
  /** It takes no texts. */
  fixedLine: boolean
  ownNumber: string | null
  email: string | null
  birthDate: CalendarDate | null
  /** Ours; null = not told, or one that the feed's table does not know. */
  language: string | null
  died: boolean
  lmp: { day: CalendarDate; toldOn: CalendarDate | null } | null
}
