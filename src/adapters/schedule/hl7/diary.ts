import type { Refusal } from '../../../domain/schedule/feed.ts'
import { CODE, toPerson } from '../read-context.ts'
import { entry } from '../../../domain/schedule/entry.ts'
import type { ScheduleEvent, ToldTimes } from '../../../domain/schedule/schedule-news.ts'
import { text, type Segment } from './parse.ts'
import { instant, isRefusal, resourceGroups, type Reading } from './reading.ts'
import { cliniciansOf, codesOfPlace, duration, endOf, minutesOf, startOf } from './visit.ts'

/**
 * Times of the diary that are closed (S23) or opened (S24): one for each place, and each person there. A place that has
 * a time of its own keeps it.
 */
export function timesOf(sch: Segment, event: ScheduleEvent, reading: Reading): ToldTimes[] | Refusal {
  const all = span(sch, event, reading)
  if (isRefusal(all)) return all
  const groups = resourceGroups(reading.message)
  const times = (groups.length > 0 ? groups : [[]]).flatMap((group) => inGroup(group, all, reading))
  return times.every(({ from, to }) => from < to)
    ? times
    : toPerson(CODE.type, 'SCH^1^11', 'The times of the diary end before they begin.')
}

interface Span {
  from: Date
  to: Date
}

function span(sch: Segment, event: ScheduleEvent, reading: Reading): Span | Refusal {
  const from = startOf(sch, event, reading)
  if (from === null || from === undefined)
    return toPerson(CODE.missing, 'SCH^1^11', 'Nothing says when these times of the diary begin.')
  if (isRefusal(from)) return from
  const end = endOf(sch, reading)
  if (end !== null) return { from, to: end }
  const minutes = minutesOf(sch, from, reading)
  if (typeof minutes !== 'number')
    return toPerson(CODE.missing, 'SCH^1^11', 'Nothing says when these times of the diary end.')
  return { from, to: after(from, minutes) }
}

function inGroup(group: readonly Segment[], all: Span, reading: Reading): ToldTimes[] {
  const places = group.filter(({ name }) => name === 'AIL')
  const clinicians = cliniciansOf(group.filter(({ name }) => name === 'AIP'))
  const where =
    places.length > 0 ? places.map((ail) => ({ place: known(ail, reading), ...own(ail, all, reading) })) : []
  const spans = where.length > 0 ? where : [{ place: '', ...all }]
  return spans.flatMap((one) => (clinicians.length > 0 ? clinicians : ['']).map((clinician) => ({ ...one, clinician })))
}

/** The nearest code that the feed knows, else the nearest. */
function known(ail: Segment, { feed }: Reading): string {
  const codes = codesOfPlace(ail).filter((code) => code !== '')
  return codes.find((code) => entry(feed.clinics, code) !== undefined) ?? codes[0] ?? ''
}

function own(ail: Segment, all: Span, reading: Reading): Span {
  const from = instant(text(ail, 6), 'AIL^1^6', reading)
  if (from === null) return all
  const minutes = duration(text(ail, 9), text(ail, 10), 'AIL-9', reading.doubts)
  return { from, to: minutes === undefined ? all.to : after(from, minutes) }
}

const after = (from: Date, minutes: number) => new Date(from.getTime() + minutes * 60_000)
