import type { MessageRead } from '../../../domain/schedule/feed.ts'
import type { ScheduleNews } from '../../../domain/schedule/schedule-news.ts'
import { CODE, toPerson } from '../read-context.ts'
import { head, nothing, type Reading } from './reading.ts'
import { codesOf, resolve, typeOf, type Place } from './references.ts'
import { scheduleSchema, slotSchema, type Reference } from './schemas.ts'
import { isResource, notUnderstood, strictly } from './strict.ts'

const EVENTS = { free: 'times-opened', 'busy-unavailable': 'times-closed' } as const

/** A time of the diary. A busy one says nothing that the appointment in it does not say. */
export function readSlot(reading: Reading): MessageRead {
  const read = strictly(slotSchema, reading.resource, 'Slot')
  if ('refused' in read) return read.refused
  const { status, start, end, schedule } = read.fields
  const event = Object.hasOwn(EVENTS, status) ? EVENTS[status as keyof typeof EVENTS] : undefined
  if (event === undefined) return nothing(`Slot.status: "${status}" neither opens nor closes a time.`)
  if (Date.parse(end) <= Date.parse(start))
    return toPerson(CODE.value, 'Slot.end', 'The time ends before it has begun.')
  const diary = diaryOf(schedule, reading)
  if ('ack' in diary) return diary
  if (!diary.active && event === 'times-opened')
    return nothing('Schedule.active: the diary is out of use, its free times were not opened.')
  const news: ScheduleNews = {
    ...head('Slot', read.fields, reading),
    event,
    key: null,
    visit: null,
    patient: null,
    times: [{ from: new Date(start), to: new Date(end), place: diary.place, clinician: diary.clinician }],
    doubts: diary.doubts,
  }
  return { news: [news] }
}

/** Whose diary, and where. Without the Schedule its id stands for the place: a feed's table may list it. */
function diaryOf(schedule: Reference, reading: Reading) {
  const found = resolve(schedule, reading)
  if (!isResource(found?.resource)) {
    const place = codesOf(schedule, reading)[0]
    return place === undefined
      ? toPerson(CODE.missing, 'Slot.schedule', 'Whose time it is cannot be found in what was sent.')
      : { active: true, place, clinician: '', doubts: ['Slot.schedule: not sent along, its id stands for the place.'] }
  }
  const fault = notUnderstood(found.resource)
  if (fault) return fault
  const read = strictly(scheduleSchema, found.resource, 'Schedule')
  if ('refused' in read) return read.refused
  const from: Place = { ...reading, resource: found.resource }
  const first = (types: readonly string[]) =>
    read.fields.actor.filter((actor) => types.includes(typeOf(actor, from))).flatMap((actor) => codesOf(actor, from))[0]
  return {
    active: read.fields.active !== false,
    place: first(['Location', 'HealthcareService']) ?? '',
    clinician: first(['Practitioner', 'PractitionerRole']) ?? '',
    doubts: [] as string[],
  }
}

/** A diary alone is no news: its times are. */
export function readSchedule(reading: Reading): MessageRead {
  const read = strictly(scheduleSchema, reading.resource, 'Schedule')
  if ('refused' in read) return read.refused
  return read.fields.active === false
    ? nothing('Schedule.active: the diary is out of use; free times of it that were opened stay.')
    : nothing()
}
