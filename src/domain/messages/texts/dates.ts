import { DateTime } from 'luxon'
import { badInput } from '../../failure.ts'
import type { CalendarDate } from '../../preparation/cycle/history.ts'
import type { Channel } from './kinds.ts'
import type { Language } from './library.ts'
import { fill } from './message.ts'

/**
 * An instant as the patient reads it on a clock of the visit's zone, e.g. `Wed Sep 23, 10:30 am`.
 *
 * @param channel sms: short; voice: for speech; email: in full, as in speech.
 */
export function writeWhen(instant: Date, zone: string, language: Language, channel: Channel): string {
  const local = DateTime.fromJSDate(instant, { zone })
  if (!local.isValid) badInput('zone', 'The zone is not one of the IANA time zones, e.g. America/Halifax.')
  const length = channel === 'sms' ? 'short' : 'long'
  const { weekdays, months, periods } = language.dates
  const period = periods.findLast(({ from }) => from <= local.hour)
  return fill(language.dates[channel === 'sms' ? 'sms' : 'voice'], language.locale, {
    weekday: weekdays[length][local.weekday - 1]!,
    month: months[length][local.month - 1]!,
    day: local.day,
    hour: local.hour,
    hour12: local.hour % 12 || 12,
    minute: local.toFormat('mm'),
    period: period?.[length] ?? '',
    named: namedHour(local),
  })
}

/** A calendar date as the patient reads or hears it, e.g. `Wed Sep 23`. */
export function writeDay(date: CalendarDate, language: Language, channel: Channel): string {
  const local = DateTime.fromISO(date, { zone: 'utc' })
  const length = channel === 'sms' ? 'short' : 'long'
  const { weekdays, months } = language.dates
  return fill(language.dates.day, language.locale, {
    weekday: weekdays[length][local.weekday - 1]!,
    month: months[length][local.month - 1]!,
    day: local.day,
  })
}

/** For languages that say noon and midnight instead of a twelve that may be either. */
function namedHour({ hour, minute }: DateTime): 'noon' | 'midnight' | 'no' {
  if (minute !== 0 || hour % 12 !== 0) return 'no'
  return hour === 12 ? 'noon' : 'midnight'
}
