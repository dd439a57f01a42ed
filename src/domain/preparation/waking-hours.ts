import { inZone, otherDay } from '../local-time.ts'

/** When most people may be expected to read a message. Our own reading of a day, no source. */
const AWAKE = { from: 7, to: 22 } as const
const HOUR = 3_600_000

/** How many hours between two instants the patient is likely awake. */
export function wakingHours(from: Date, to: Date, zone: string): number {
  let awake = 0
  for (let day = otherDay(inZone(from, zone), 0); day.startOf('day').toJSDate() < to; day = otherDay(day, 1)) {
    const rises = day.set({ hour: AWAKE.from, minute: 0, second: 0, millisecond: 0 }).toMillis()
    const sleeps = day.set({ hour: AWAKE.to, minute: 0, second: 0, millisecond: 0 }).toMillis()
    awake += Math.max(0, Math.min(to.getTime(), sleeps) - Math.max(from.getTime(), rises))
  }
  return awake / HOUR
}
