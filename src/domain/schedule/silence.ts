import { inZone, otherDay } from '../local-time.ts'

/** Own judgement: a schedule that works tells something on every working day. */
export const SILENT_HOURS = 24
const HOUR_MS = 3_600_000
const SATURDAY = 6
/** Nobody needs to know longer ago than this how long it has been. */
const MOST_DAYS = 60

/** Hours of working days (Monday to Friday, nights too) since a feed was last heard. */
export function workingHoursSince(heardAt: Date, now: Date, zone: string): number {
  let ms = 0
  let day = inZone(heardAt, zone)
  for (let count = 0; count < MOST_DAYS && day.toJSDate() < now; count++) {
    const next = otherDay(day, 1).startOf('day')
    const end = Math.min(next.toMillis(), now.getTime())
    if (day.weekday < SATURDAY) ms += end - day.toMillis()
    day = next
  }
  return ms / HOUR_MS
}

/** Whether a feed has told nothing for so long, on a working day, that somebody should ask why. */
export function isSilent(heardAt: Date | null, now: Date, zone: string): boolean {
  if (inZone(now, zone).weekday >= SATURDAY) return false
  return heardAt === null || workingHoursSince(heardAt, now, zone) >= SILENT_HOURS
}
