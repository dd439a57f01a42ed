import { entry } from '../../domain/schedule/entry.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import type { ScheduleEvent } from '../../domain/schedule/schedule-news.ts'

/** `no-booking`: somebody wishes for a time, or waits for one; nobody has it. */
export type StatusMeaning = ScheduleEvent | 'no-booking'

/** FHIR R4 4.0.1, code system `appointmentstatus`: every code. */
export const APPOINTMENT_STATUSES = [
  'proposed',
  'pending',
  'booked',
  'arrived',
  'fulfilled',
  'cancelled',
  'noshow',
  'entered-in-error',
  'checked-in',
  'waitlist',
] as const

/** `pending`: not everybody has agreed yet. A site whose pending visits stand says so in the feed's `statuses`. */
const MEANINGS: Record<(typeof APPOINTMENT_STATUSES)[number], StatusMeaning> = {
  proposed: 'no-booking',
  pending: 'no-booking',
  waitlist: 'no-booking',
  booked: 'booked',
  arrived: 'arrived',
  'checked-in': 'arrived',
  fulfilled: 'arrived',
  cancelled: 'cancelled',
  noshow: 'no-show',
  'entered-in-error': 'entered-in-error',
}

/** What a status means: as the site says, else as FHIR does; undefined = nobody said. Never guessed. */
export function statusMeaning(status: string, feed: Feed): StatusMeaning | undefined {
  return entry(feed.statuses, status) ?? entry<StatusMeaning>(MEANINGS, status)
}
