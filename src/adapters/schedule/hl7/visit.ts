import { CODE, toPerson } from '../read-context.ts'
import type { Feed, Refusal } from '../../../domain/schedule/feed.ts'
import type { AppointmentKey, ScheduleEvent, Told, ToldVisit } from '../../../domain/schedule/schedule-news.ts'
import { get, repetitions, segmentOf, text, type Hl7Message, type Segment } from './parse.ts'
import { instant, isRefusal, resources, type Reading, type ResourceName } from './reading.ts'
import { isOverbooked, statusOf } from './statuses.ts'

/** By which of its two ids an appointment is known is the feed's to say; SCH-3 tells the visits of a series apart. */
export function keyOf(sch: Segment, { key }: Feed): AppointmentKey | Refusal {
  const field = key === 'filler' ? 2 : 1
  const id = text(sch, field)
  const other = key === 'filler' ? 'placer' : 'filler'
  if (id === '')
    return toPerson(
      CODE.missing,
      `SCH^1^${field}`,
      `The visit has no ${key} id. Send it, or describe ${other} as the key.`,
    )
  return { id, namespace: text(sch, field, 1, 2) || text(sch, field, 1, 3), occurrence: text(sch, 3) }
}

/** The visit as a message tells it. */
export function visitOf(sch: Segment, event: ScheduleEvent, reading: Reading): ToldVisit | Refusal {
  const start = startOf(sch, event, reading)
  if (start !== null && start !== undefined && isRefusal(start)) return start
  const status = statusOf(sch)
  return {
    startsAt: start,
    minutes: minutesOf(sch, start ?? null, reading),
    places: placesOf(reading.message),
    clinicians: cliniciansOf(resources(reading.message, 'AIP')),
    types: typesOf(sch, reading.message),
    status,
    ...(isOverbooked(status) ? { overbooked: true } : {}),
    consent: consentOf(reading),
  }
}

const NEEDS_TIME: ReadonlySet<ScheduleEvent> = new Set(['booked', 'moved'])
const MUST_BE_READ: ReadonlySet<ScheduleEvent> = new Set(['booked', 'moved', 'changed'])

/**
 * When the visit begins: TQ1-7, else SCH-11.4, else the first of its services, else of its places and people. Where two
 * say otherwise, the first counts and a person is told.
 */
export function startOf(sch: Segment, event: ScheduleEvent, reading: Reading): Told<Date> | Refusal {
  const told = sources(sch, reading.message)
  const read: Date[] = []
  let unread = ''
  for (const { at, written } of told) {
    const found = written.flatMap((value) => instant(value, at, reading) ?? [])
    if (found.length < written.length) {
      unread ||= at
      reading.doubts.push(`${at} is no time to the minute.`)
    }
    if (found.length > 0) read.push(new Date(Math.min(...found.map(Number))))
  }
  if (read.some((other) => other.getTime() !== read[0]!.getTime()))
    reading.doubts.push(
      'The message tells more than one time for the visit: the first of TQ1, SCH, AIS, AIL was taken.',
    )
  if (read[0] !== undefined) return read[0]
  if (unread !== '' && MUST_BE_READ.has(event))
    return toPerson(CODE.type, unread, 'This is no time to the minute. Write it as YYYYMMDDHHMM.')
  if (NEEDS_TIME.has(event)) return toPerson(CODE.missing, 'SCH^1^11', 'Nothing says when the visit begins.')
  return get(sch, 11, 1, 4) === null ? null : undefined
}

function sources(sch: Segment, message: Hl7Message): { at: string; written: string[] }[] {
  const tq1 = text(segmentOf(message, 'TQ1'), 7)
  const of = (name: ResourceName, field: number) => resources(message, name).map((segment) => text(segment, field))
  // AIS-4 is the service's own beginning. Where it is away from the visit's (AIS-5) it says nothing about that.
  const services = resources(message, 'AIS').filter((ais) => Number(text(ais, 5) || '0') === 0)
  return [
    { at: 'TQ1^1^7', written: [tq1] },
    { at: 'SCH^1^11', written: [text(sch, 11, 1, 4)] },
    { at: 'AIS^1^4', written: services.map((ais) => text(ais, 4)) },
    { at: 'AIL^1^6', written: of('AIL', 6) },
    { at: 'AIP^1^6', written: of('AIP', 6) },
  ]
    .map(({ at, written }) => ({ at, written: written.filter((value) => value !== '') }))
    .filter(({ written }) => written.length > 0)
}

const A_DAY = 24 * 60

/** SCH-9 and 10, else until the end that is told, else AIS-7 and 8. */
export function minutesOf(sch: Segment, start: Date | null, reading: Reading): Told<number> {
  const told = get(sch, 9) === null ? null : duration(text(sch, 9), unit(sch, 10), 'SCH-9', reading.doubts)
  if (told !== undefined) return told
  const end = endOf(sch, reading)
  if (start !== null && end !== null) {
    const minutes = Math.round((end.getTime() - start.getTime()) / 60_000)
    if (minutes > 0 && minutes <= A_DAY) return minutes
    reading.doubts.push('The end of the visit is not within a day of its beginning: it was passed over.')
  }
  const ais = resources(reading.message, 'AIS')[0]
  return ais && duration(text(ais, 7), unit(ais, 8), 'AIS-7', reading.doubts)
}

/** TQ1-8, else SCH-11.5. */
export function endOf(sch: Segment, reading: Reading): Date | null {
  const tq1 = text(segmentOf(reading.message, 'TQ1'), 8)
  const at = tq1 === '' ? 'SCH^1^11' : 'TQ1^1^8'
  const written = tq1 || text(sch, 11, 1, 5)
  return written === '' ? null : instant(written, at, reading)
}

/** ISO+ units and what is sent instead of them; minutes where none is told. */
const IN_MINUTES: ReadonlyMap<RegExp, number> = new Map([
  [/^(|m|min|mins|minuten?|minutes)$/i, 1],
  [/^(s|sec|secs|seconds?)$/i, 1 / 60],
  [/^(h|hr|hrs|hours?)$/i, 60],
])

const unit = (segment: Segment, field: number) => text(segment, field) || text(segment, field, 1, 2)

/** Whole minutes of a number and its unit; undefined where it is neither. */
export function duration(number: string, units: string, at: string, doubts: string[]): number | undefined {
  if (number === '') return undefined
  const factor = [...IN_MINUTES].find(([names]) => names.test(units))?.[1]
  const minutes = /^\d+(\.\d+)?$/.test(number) && factor !== undefined ? Math.round(Number(number) * factor) : 0
  if (minutes > 0 && minutes <= A_DAY) return minutes
  doubts.push(`${at} is no length of a visit: it was passed over.`)
  return undefined
}

/** Every code of every place that holds, the nearest first: room, point of care, facility. */
export function placesOf(message: Hl7Message): string[] {
  return distinct(resources(message, 'AIL').flatMap(codesOfPlace))
}

/** The codes of one AIL-3 (PL), the nearest first. */
export function codesOfPlace(ail: Segment): string[] {
  return repetitions(ail, 3).flatMap((repetition) => [2, 1, 4].map((part) => text(ail, 3, repetition, part)))
}

/** AIP-3 (XCN): the id, or the family name where there is none. */
export function cliniciansOf(segments: readonly Segment[]): string[] {
  return distinct(segments.flatMap((aip) => repetitions(aip, 3).map((n) => text(aip, 3, n) || text(aip, 3, n, 2))))
}

/** Codes of the kind of visit, and then its words: the first that the feed knows counts. */
function typesOf(sch: Segment, message: Hl7Message): string[] {
  const told = [
    ...[8, 7].map((field) => ({ segment: sch, field })),
    ...resources(message, 'AIS').map((segment) => ({ segment, field: 3 })),
  ]
  const parts = (...components: number[]) =>
    told.flatMap(({ segment, field }) => components.map((component) => text(segment, field, 1, component)))
  return distinct([...parts(1, 4), ...parts(2, 5)])
}

/** `ZCN-2` or `ZCN-2.1`: where this feed says that a patient agreed to messages. */
const FIELD = /^([A-Z][A-Z0-9]{2})-(\d{1,3})(?:\.(\d{1,2}))?$/

function consentOf({ feed, message }: Reading): Told<boolean> {
  const where = FIELD.exec(feed.consent?.field ?? '')
  if (where === null) return undefined
  const told = get(segmentOf(message, where[1]!), Number(where[2]), 1, Number(where[3] ?? 1))
  return typeof told === 'string' ? feed.consent!.yes.includes(told) : told
}

const distinct = (values: readonly string[]) => [...new Set(values)].filter((value) => value !== '')
