import type { MinorsRule } from '../patients/minors.ts'
import type { SendingHours } from '../preparation/sending-hours.ts'
import type { MoveLimit } from '../visits/move-limit.ts'

/** A clinic and its own rules. */
export interface Clinic {
  id: string
  name: string
  /** E.164: the number a patient may call. */
  phone: string
  zone: string
  /** ISO 3166 country, for numbers written in national form. */
  country: string
  settings: ClinicSettings
}

/** An emergency number is short: two to six digits, such as 112 (value from memory). */
export const EMERGENCY_NUMBER = /^\d{2,6}$/

/** How the desk's pages write times. */
export const CLOCK_HOURS = ['24', '12'] as const
export type ClockHours = (typeof CLOCK_HOURS)[number]

/** What of visits may be shown in calendars elsewhere. */
export const CALENDAR_OUT = ['none', 'without-names', 'with-names'] as const
export type CalendarOut = (typeof CALENDAR_OUT)[number]

export interface ClinicSettings {
  hours: SendingHours
  /**
   * `at-once`: the patient's choice moves the visit. `desk-approves`: it waits for a person. `schedule-decides`: it
   * waits until the schedule that the clinic keeps elsewhere says so.
   */
  movePolicy: 'at-once' | 'desk-approves' | 'schedule-decides'
  /** After a preparation lapse: offer other times at once, or leave it to the desk. */
  lapsePolicy: 'offer' | 'desk-decides'
  /** How far a visit may drift by texts alone, before a person agrees on the next time. */
  moveLimit: MoveLimit
  /** Who may receive the messages of a minor; null = the clinic has no rule of its own. Local law prevails. */
  minors: MinorsRule | null
  /** A number at which nothing was heard or delivered for so many months may have changed hands. */
  askAgainMonths: number
  /** Whether birth dates and own numbers are printed on the day sheet. */
  secondOnPaper: boolean
  /** Whether calendars elsewhere may show its visits, and whether with names. */
  calendar: CalendarOut
  /** With another one, every address of its calendars is another. */
  calendarEdition: number
  /** How long a visit lasts; null = as its protocol says. */
  visitMinutes: number | null
  /** Hours an offered opening is held. */
  holdHours: number
  /** Readings below this confidence are read by a person. */
  minConfidence: number
  /** Name of the gateway that carries this clinic's messages. */
  gateway: string
  /**
   * What to dial in an emergency where its patients are, e.g. `911`: digits only. null: texts speak of "your local
   * emergency number", which somebody who has just arrived may not know.
   */
  emergency: string | null
  /** Whether the desk reads 13:40 or 1:40 PM. Texts keep to the custom of their language. */
  clock: ClockHours
  /** Where patients come to, and how they find it, in the words of the clinic; shown on the private page. */
  address: string | null
  directions: string | null
}
