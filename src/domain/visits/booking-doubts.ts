import { DateTime } from 'luxon'
import type { Patient } from '../patients/patient.ts'
import { mayBeMeant, samePerson, type Told } from '../patients/same-person.ts'
import { daysBetween } from '../preparation/cycle/days.ts'
import type { CalendarDate } from '../preparation/cycle/history.ts'
import { dateIn, inZone } from '../local-time.ts'
import type { Booking } from './booking.ts'

/** What a clerk is asked before a visit is booked. None of it is wrong by itself; each was a slip often enough. */
export interface BookingDoubt {
  /** Says what it is about: leave for one doubt is none for another. */
  key: string
  about: 'name' | 'date' | 'time' | 'lmp' | 'timing'
  message: string
}

/** As near as two visits of one patient seldom are. Own judgement. */
const NEAR_DAYS = 14
/** Before and after these hours hardly anybody collects. Own judgement. */
const USUAL_HOURS = { from: '07:00', until: '20:00' }
/** So many times known within a month say what days of the week a clinic works on. Own judgement. */
const ENOUGH_TIMES = 10

export interface DoubtRequest {
  told: Told
  /** Patients of the clinic at this number, with their visits to come. */
  known: readonly { patient: Patient; visits: readonly Booking[] }[]
  /** The visit as it would be; null while the form does not say. */
  visit: { visitAt: Date; zone: string } | null
  /** Times of the clinic within a month, taken or not. */
  times: readonly Date[]
  /** A first day was typed, and besides that it is not known. */
  lmpTwice: boolean
  /** Where it is badly timed: says for which facts. */
  badlyTimed: { facts: string; reason: string } | null
}

/** In order of the form. */
export function bookingDoubts(request: DoubtRequest): BookingDoubt[] {
  return [nearlyKnown(request), twice(request), unusual(request), secondVisit(request), badly(request)].flat()
}

function nearlyKnown({ known, told }: DoubtRequest): BookingDoubt[] {
  const patients = known.map(({ patient }) => patient)
  if (samePerson(patients, told)) return []
  return mayBeMeant(patients, told).map(({ id, name }) => ({
    key: `name ${id} ${told.name}`,
    about: 'name',
    message: `${name} is known at this number. Choose “Same person” there, unless ${told.name.trim()} is somebody else.`,
  }))
}

function twice({ lmpTwice }: DoubtRequest): BookingDoubt[] {
  const message =
    'A first day of the last period is given, and that it is not known or does not apply. Keep one of them.'
  return lmpTwice ? [{ key: 'lmp', about: 'lmp', message }] : []
}

function unusual({ visit, times }: DoubtRequest): BookingDoubt[] {
  if (!visit) return []
  const [date, clock] = local(visit)
  const doubts: BookingDoubt[] = []
  if (clock < USUAL_HOURS.from || clock >= USUAL_HOURS.until)
    doubts.push({
      key: `clock ${clock}`,
      about: 'time',
      message: `At ${clock} hardly anybody collects. Is the time right?`,
    })
  const weekday = weekdayOf(date)
  const worksThen = times.some((at) => weekdayOf(dateIn(at, visit.zone)) === weekday)
  if (times.length >= ENOUGH_TIMES && !worksThen)
    doubts.push({
      key: `weekday ${date}`,
      about: 'date',
      message: `The clinic has no visits and no openings on any ${weekday}. Is the date right?`,
    })
  return doubts
}

function secondVisit({ known, told, visit }: DoubtRequest): BookingDoubt[] {
  const who = samePerson(
    known.map(({ patient }) => patient),
    told,
  )
  if (!who || !visit) return []
  const [date] = local(visit)
  const near = known
    .find(({ patient }) => patient.id === who.id)!
    .visits.filter(({ visitAt, zone }) => Math.abs(daysBetween(dateIn(visitAt, zone), date)) <= NEAR_DAYS)
  return near.map((other) => {
    const [day, clock] = local(other)
    const message = `${who.name} has a visit on ${inWords(day)} at ${clock} already. Move that one, unless both are wanted.`
    return { key: `visit ${other.id} ${date}`, about: 'date', message }
  })
}

function badly({ badlyTimed }: DoubtRequest): BookingDoubt[] {
  if (!badlyTimed) return []
  return [{ key: `timing ${badlyTimed.facts}`, about: 'timing', message: badlyTimed.reason }]
}

const noonOf = (date: CalendarDate) => DateTime.fromISO(date, { zone: 'utc', locale: 'en' })
const inWords = (date: CalendarDate) => noonOf(date).toFormat('ccc d LLL')
const weekdayOf = (date: CalendarDate) => noonOf(date).toFormat('cccc')

function local({ visitAt, zone }: { visitAt: Date; zone: string }): [date: CalendarDate, clock: string] {
  return [dateIn(visitAt, zone), inZone(visitAt, zone).toFormat('HH:mm')]
}
