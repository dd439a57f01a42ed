import { atClock, lastAllowed, mayRing, nextAllowed, type SendingHours } from './sending-hours.ts'
import { inZone, otherDay } from '../local-time.ts'

const HOUR = 3_600_000
const HOURS_BEFORE_MARK = 4
const EVENING = '18:00'

/** `visit` less the hours of preparation, elapsed hours, so that a clock change does not eat one of them. */
export function prepDeadline(visit: Date, prepHours: number): Date {
  return new Date(visit.getTime() - prepHours * HOUR)
}

/**
 * When preparation should best go out: four hours before the mark if that is within sending hours, else 18:00 the
 * evening before, else the last allowed minute before.
 */
export function bestPrepTime(mark: Date, zone: string, hours: SendingHours): Date {
  const target = new Date(mark.getTime() - HOURS_BEFORE_MARK * HOUR)
  if (mayRing(target, zone, hours)) return target
  const local = inZone(target, zone)
  const today = atClock(local, EVENING)
  const evening = (today <= local ? today : atClock(otherDay(local, -1), EVENING)).toJSDate()
  return mayRing(evening, zone, hours) ? evening : lastAllowed(target, zone, hours)
}

/** The earliest time at which preparation can still go out before the mark, or null when it is too late. */
export function prepTime(now: Date, mark: Date, zone: string, hours: SendingHours): Date | null {
  const best = bestPrepTime(mark, zone, hours)
  if (best >= now) return best
  const soonest = nextAllowed(now, zone, hours)
  return soonest < mark ? soonest : null
}

/** Whether a visit booked now for `visit` leaves room to prepare by the usual schedule. Offers use this. */
export function leavesRoom(now: Date, visit: Date, prepHours: number, zone: string, hours: SendingHours): boolean {
  return bestPrepTime(prepDeadline(visit, prepHours), zone, hours) >= now
}
