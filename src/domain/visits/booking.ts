import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { Outcome } from './outcome.ts'
import type { Purpose } from './purpose.ts'

export interface Booking {
  id: string
  patientId: string
  clinicId: string
  /** Whoever collects; distinguishes parallel lists within one clinic. Empty where a clinic has only one. */
  clinician: string
  protocol: string
  visitAt: Date
  /** How long it lasts. */
  minutes: number
  /** The time it was first booked for, and how often the patient has moved it since. */
  firstVisitAt: Date
  moves: number
  zone: string
  /** Why the patient comes: decides whether a better day is worth waiting for. */
  purpose: Purpose
  /** The specimen should be collected by this day; null = not known. */
  dueBy: CalendarDate | null
  state: 'booked' | 'cancelled'
  /** Counts the plans made: a message of an older plan finds nothing to do. */
  planRevision: number
  /** Digest of the protocol the plan was made by. */
  planBasis: string
  confirmedAt: Date | null
  /** Preparation cannot be complete: booked or moved too late, or told too late. */
  shortNotice: boolean
  /** What went wrong with preparation, in the patient's words. */
  lapses: string[]
  /** What the patient asked the clinic to arrange, in the patient's words: an interpreter, a woman, a ramp. */
  needs: string[]
  /** How the visit ended; null while nobody has said. */
  outcome: Outcome | null
  createdAt: Date
}
