import type { DateTime } from 'luxon'
import { workday } from './scenario.ts'

/** Openings of each working day, kept free for better times. */
export const OPENING_CLOCKS = ['09:00', '09:20', '09:40', '10:00', '10:20', '13:40', '14:00']
const BOOKED_CLOCKS = [
  '10:40',
  '11:00',
  '11:20',
  '11:40',
  '13:00',
  '13:20',
  '14:20',
  '14:40',
  '15:00',
  '15:20',
  '15:40',
]

/** Which times of a day the desk has given away: the next that is free. */
export class Diary {
  readonly #used = new Map<string, number>()

  /** @param day if clinics do not work on it, or it is full, a later one */
  next(clinic: string, day: DateTime): DateTime {
    const on = workday(day)
    const key = `${clinic} ${on.toISODate()}`
    const used = this.#used.get(key) ?? 0
    if (used === BOOKED_CLOCKS.length) return this.next(clinic, on.plus({ days: 1 }))
    this.#used.set(key, used + 1)
    return atClock(on, BOOKED_CLOCKS[used]!)
  }
}

/** @param clock e.g. `09:40` */
export function atClock(day: DateTime, clock: string): DateTime {
  const [hour, minute] = clock.split(':').map(Number)
  return day.set({ hour: hour!, minute: minute!, second: 0, millisecond: 0 })
}
