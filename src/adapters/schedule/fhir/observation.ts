import type { MessageRead } from '../../../domain/schedule/feed.ts'
import type { ScheduleNews, ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { CODE, toPerson } from '../read-context.ts'
import { head, nothing, type Reading } from './reading.ts'
import { FULL_DATE } from './patient.ts'
import { idsOf, resolve } from './references.ts'
import { observationSchema, patientSchema } from './schemas.ts'
import { strictly } from './strict.ts'

/** LOINC 8665-2 "Last menstrual period start date". */
const isLmp = ({ system, code }: { system?: string | undefined; code?: string | undefined }) =>
  system === 'http://loinc.org' && code === '8665-2'

/** The first day of the last period; other observations are none of our business. */
export function readObservation(reading: Reading): MessageRead {
  const read = strictly(observationSchema, reading.resource, 'Observation')
  if ('refused' in read) return read.refused
  const told = read.fields
  if (!told.code.coding?.some(isLmp)) return nothing()
  if (told.status === 'entered-in-error')
    return toPerson(CODE.person, 'Observation.status', 'A date of a last period was told in error: see which is right.')
  if (told.status === 'registered' || told.status === 'cancelled' || told.status === 'unknown')
    return nothing(`Observation.status: "${told.status}" is no answer yet, nothing was taken.`)
  const found = resolve(told.subject, reading)
  const { data } = patientSchema.safeParse(found?.resource)
  const numbers = [...(data?.identifier ?? []), ...(told.subject?.identifier ? [told.subject.identifier] : [])]
  const ids = idsOf(numbers, found, reading.context.now)
  if (ids.length === 0)
    return toPerson(CODE.missing, 'Observation.subject', 'Whose period it was cannot be found in what was sent.')
  const { lmp, doubts } = lmpOf(told, dateIn(reading.context.now, reading.feed.zone))
  const patient: ToldPatient = { ids, ...(lmp !== undefined && { lmp }) }
  const news: ScheduleNews = {
    ...head('Observation', told, reading),
    event: 'patient',
    key: null,
    visit: null,
    patient,
    doubts,
  }
  return { news: [news] }
}

type Told = ReturnType<typeof observationSchema.parse>

/** @param today where the clinics are */
function lmpOf(told: Told, today: string): { lmp?: ToldPatient['lmp']; doubts: string[] } {
  const { valueDateTime, effectiveDateTime, effectiveInstant, dataAbsentReason } = told
  if (valueDateTime === undefined) {
    const asked = dataAbsentReason?.coding?.some(({ code }) => code === 'asked-unknown')
    return asked
      ? { lmp: null, doubts: ['Observation.dataAbsentReason: the patient was asked and does not know.'] }
      : { doubts: ['Observation.valueDateTime: no date was told.'] }
  }
  if (valueDateTime.length < FULL_DATE)
    return { doubts: ['Observation.valueDateTime: only a part of the date was told, it was not taken.'] }
  const day = valueDateTime.slice(0, FULL_DATE)
  const toldAt = effectiveDateTime ?? effectiveInstant
  const toldOn = toldAt !== undefined && toldAt.length >= FULL_DATE ? toldAt.slice(0, FULL_DATE) : null
  if (toldOn !== null && day > toldOn)
    return { doubts: ['Observation.valueDateTime: later than the day on which it was told, it was not taken.'] }
  if (day > today || (toldOn ?? day) > today)
    return { doubts: ['Observation.valueDateTime: told of a day that is still to come, it was not taken.'] }
  return { lmp: { day, toldOn }, doubts: [] }
}
