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
  readonly #taken = new Set<string>()

  /** @param day if clinics do not work on it, or it is full, a later one */
  next(clinic: string, day: DateTime): DateTime {
    const on = workday(day)
    const clock = BOOKED_CLOCKS.find((each) => !this.#taken.has(keyOf(clinic, atClock(on, each))))
    return clock === undefined ? this.next(clinic, on.plus({ days: 1 })) : this.take(clinic, atClock(on, clock))
  }

  /** That very time, whether or not it is one of those that are given away by themselves. */
  take(clinic: string, at: DateTime): DateTime {
    this.#taken.add(keyOf(clinic, at))
    return at
  }
}

const keyOf = (clinic: string, at: DateTime) => `${clinic} ${at.toFormat("yyyy-MM-dd'T'HH:mm")}`

/** @param clock e.g. `09:40` */
export function atClock(day: DateTime, clock: string): DateTime {
  const [hour, minute] = clock.split(':').map(Number)
  return day.set({ hour: hour!, minute: minute!, second: 0, millisecond: 0 })
}
