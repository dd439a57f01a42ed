import type { CalendarDate, CycleHistory } from '../preparation/cycle/history.ts'
import type { Reading } from './reading.ts'

/** What is known when one visit is being talked about. */
export interface Situation {
  reading: Reading
  history: CycleHistory
  /** The day on which it was written, in the patient's zone: what the reply says of "today". */
  today: CalendarDate
  /** The day was what was asked for last. */
  askedForDay: boolean
  /** An offer waits for a number. */
  offerOpen: boolean
  /**
   * Other times were offered, or one was chosen, because the patient cannot come: whatever the dates say, the visit
   * must move.
   */
  mustMove: boolean
  lapsePolicy: 'offer' | 'desk-decides'
  /** Topics the protocol has an approved answer for. */
  topics: readonly string[]
  /** The patient's last news of a period stands as it was noted, and nothing newer rests on it. */
  mayUndo: boolean
  /** The clinic has said where it is. */
  hasPlace: boolean
  /** The visit is routine, and not due yet: a better day is worth waiting for. */
  mayBePutOff: boolean
  /** The visit is today or tomorrow. */
  isNear: boolean
  /** The patient is recorded as pregnant, or comes because of it. */
  isPregnant: boolean
  /** Whether the visit may stay where it is, by this history. */
  keeps(history: CycleHistory): boolean
  /** Whether it is then badly timed. */
  isBadly(history: CycleHistory): boolean
}
