import { entry } from '../../../domain/schedule/entry.ts'
import type { Feed, MessageRead, Refusal } from '../../../domain/schedule/feed.ts'
import type { ScheduleEvent, ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { CODE, notAPatient, notForUs, toPerson, zoneAt, type ReadContext } from '../read-context.ts'
import { eventsOf, linesOf, textOf, textsOf, type Line } from './lines.ts'
import { minutesOf, readTime } from './times.ts'

/** iTIP methods (RFC 5546 §1.4) that carry events; the others are answers and questions between calendars. */
const METHODS = ['', 'PUBLISH', 'REQUEST', 'ADD', 'CANCEL']
const SERIES = ['RRULE', 'RDATE', 'EXDATE']
const MINUTE_MS = 60_000
/** A VEVENT says nothing of a patient: where a feed does, the columns of its description name the properties. */
const PROPERTIES = { place: 'LOCATION', type: 'CATEGORIES', clinician: 'ORGANIZER' }

/** What a calendar (RFC 5545) says of the schedule: one answer for each event, in order. */
export function readCalendar(file: string | Uint8Array, feed: Feed, context: ReadContext): MessageRead[] {
  const { calendar, events, closed } = eventsOf(linesOf(file, feed))
  const method =
    calendar
      .find(({ name }) => name === 'METHOD')
      ?.value.trim()
      .toUpperCase() ?? ''
  if (!METHODS.includes(method))
    return [notForUs(CODE.unsupported, 'METHOD', 'An answer or a question between calendars is no schedule.')]
  if (events.length === 0 && calendar.length === 0)
    return [notForUs(CODE.type, '', 'This is no iCalendar file: it has no VCALENDAR.')]
  const answers = events.map((lines, index) => {
    const read = readEvent(lines, method, feed, context)
    return 'news' in read ? read : { ...read, at: `event ${index + 1}, ${read.at}` }
  })
  return closed ? answers : [...answers, toPerson(CODE.type, 'END', 'The calendar breaks off: it was not sent whole.')]
}

function readEvent(lines: readonly Line[], method: string, feed: Feed, context: ReadContext): MessageRead {
  const line = (name: string) => lines.find((one) => one.name === name)
  const told = valuesOf(lines, feed)
  const uid = line('UID')?.value.trim()
  if (!uid) return toPerson(CODE.missing, 'UID', 'The event has no UID.')
  const series = SERIES.find((name) => line(name))
  if (series) return toPerson(CODE.unsupported, series, 'A series is not taken: have each visit written by itself.')
  const event = eventOf(line('STATUS')?.value.trim().toUpperCase() ?? '', method, feed)
  if (event === undefined) return toPerson(CODE.value, 'STATUS', 'RFC 5545 has no such status of an event.')
  if (event === 'no-booking') return { news: [], doubts: ['STATUS: a tentative event is no booking yet.'] }
  const test = notAPatient((told('name') ?? '').split(/[\s,]+/), feed, 'SUMMARY')
  if (test) return test
  const place = told('place')
  const zone = zoneAt(place ? [place] : [], feed, context)
  const when = whenOf(lines, zone, event === 'cancelled')
  if ('ack' in when) return when
  const stamp = line('DTSTAMP')
  const made = stamp && readTime(stamp, 'UTC')
  const sequence = line('SEQUENCE')?.value.trim() ?? '0'
  const categories = lines.filter(({ name }) => name === typeName(feed)).flatMap(({ value }) => textsOf(value))
  const summary = line('SUMMARY')
  const listed = (value: string | undefined) => (value ? [value] : [])
  return {
    news: [
      {
        sender: context.sender,
        messageId: '',
        event,
        key: { id: uid, namespace: context.base, occurrence: line('RECURRENCE-ID')?.value.trim() ?? '' },
        madeAt: made && 'at' in made ? made.at : null,
        sequence: /^\d{1,15}$/.test(sequence) ? Number(sequence) : null,
        visit: {
          ...when.told,
          places: listed(place),
          clinicians: listed(told('clinician')?.replace(/^mailto:/i, '')),
          types: [...categories, ...listed(summary && textOf(summary.value))],
          status: line('STATUS')?.value.trim() ?? '',
        },
        patient: patientOf(told, feed),
        doubts: when.doubts,
      },
    ],
  }
}

/** Reads what a feed's columns name. */
function valuesOf(lines: readonly Line[], { columns }: Feed) {
  return (ours: string): string | undefined => {
    const name = entry(columns, ours) ?? entry<string>(PROPERTIES, ours)
    const found = name && lines.find((one) => one.name === name.toUpperCase())
    return (found && textOf(found.value)) || undefined
  }
}

const typeName = ({ columns }: Feed) => (entry(columns, 'type') ?? PROPERTIES.type).toUpperCase()

function eventOf(status: string, method: string, { statuses }: Feed): ScheduleEvent | 'no-booking' | undefined {
  if (method === 'CANCEL') return 'cancelled'
  const asSaid = entry(statuses, status)
  if (asSaid) return asSaid
  if (status === '' || status === 'CONFIRMED') return 'booked'
  if (status === 'TENTATIVE') return 'no-booking'
  return status === 'CANCELLED' ? 'cancelled' : undefined
}

/** When, and how long: by DTEND or by DURATION, never both (§3.6.1). A cancelled event may lack its time. */
function whenOf(lines: readonly Line[], zone: string, mayLack: boolean) {
  const [start, end, duration] = ['DTSTART', 'DTEND', 'DURATION'].map((name) => lines.find((one) => one.name === name))
  if (!start)
    return mayLack ? { told: {}, doubts: [] } : toPerson(CODE.missing, 'DTSTART', 'The event has no beginning.')
  if (end && duration)
    return toPerson(CODE.value, 'DURATION', 'RFC 5545 lets DTEND or DURATION say the end, never both.')
  const from = readTime(start, zone)
  if ('fault' in from) return toPerson(CODE.type, 'DTSTART', from.fault)
  const minutes = lengthOf(from.at, end, duration, zone)
  if (minutes !== undefined && typeof minutes === 'object') return minutes
  const doubts = from.doubt === null ? [] : [from.doubt]
  return { told: { startsAt: from.at, ...(minutes !== undefined && { minutes }) }, doubts }
}

/** Minutes; undefined where nothing says how long. */
function lengthOf(
  from: Date,
  end: Line | undefined,
  duration: Line | undefined,
  zone: string,
): number | Refusal | undefined {
  if (duration) return minutesOf(duration.value) ?? toPerson(CODE.type, 'DURATION', 'This is no length of a visit.')
  if (!end) return undefined
  const to = readTime(end, zone)
  if ('fault' in to) return toPerson(CODE.type, 'DTEND', to.fault)
  const minutes = Math.ceil((to.at.getTime() - from.getTime()) / MINUTE_MS)
  return minutes > 0 ? minutes : toPerson(CODE.value, 'DTEND', 'The event ends before it has begun.')
}

function patientOf(told: (ours: string) => string | undefined, feed: Feed): ToldPatient | null {
  const [id, name, mobile, phone, email, language] = ['patientId', 'name', 'mobile', 'phone', 'email', 'language'].map(
    told,
  )
  const phones = [
    ...(mobile ? [{ number: mobile, kind: 'mobile' as const }] : []),
    ...(phone ? [{ number: phone, kind: 'unknown' as const }] : []),
  ]
  if (!id && !name && phones.length === 0 && !email) return null
  return {
    ids: id ? [{ value: id, ...feed.patientId }] : [],
    ...(name && { name }),
    ...(phones.length > 0 && { phones }),
    ...(email && { email }),
    ...(language && { language }),
  }
}
