import ical, { ICalAlarmType, ICalEventClass } from 'ical-generator'

export interface CalendarEntry {
  /** Stable for the booking, so that a moved visit replaces the old entry. Must not say who. */
  id: string
  /** Counts the moves of the visit. */
  revision: number
  visit: Date
  minutes: number
  /** When the avoiding begins, and the calendar should speak up; null = not at all. */
  mark: Date | null
  /** Discreet, e.g. `Appointment`. */
  title: string
  /** When the file is made. */
  now: Date
}

/**
 * The visit as a calendar file (RFC 5545). Times are in UTC, so no zone table is needed. The alarm is an instant and
 * not "two days before", which by RFC 5545 §3.3.6 would be 47 or 49 hours over a clock change. It names neither clinic
 * nor reason and no address, since others may see a calendar.
 */
export function calendarFile({ id, revision, visit, minutes, mark, title, now }: CalendarEntry): string {
  const calendar = ical({ prodId: { company: 'Daysix', product: 'visits', language: 'EN' } })
  const event = calendar.createEvent({
    id: `${id}@daysix`,
    sequence: revision,
    stamp: now,
    start: visit,
    end: new Date(visit.getTime() + minutes * 60_000),
    summary: title,
    class: ICalEventClass.PRIVATE,
  })
  if (mark) event.createAlarm({ type: ICalAlarmType.display, trigger: mark, description: title })
  return calendar.toString()
}
