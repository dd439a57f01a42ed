import ical, { ICalEventClass, ICalEventStatus } from 'ical-generator'
import { Router } from 'express'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import { Failure } from '../../../domain/failure.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { sameSecret } from '../../vault/same-secret.ts'

const DAY_MS = 86_400_000
const BEHIND_DAYS = 7
const AHEAD_DAYS = 184
const MOST = 5_000
const AGAIN_S = 900

/** Whose visits: of a clinic, or of one of its clinicians (empty = of all). */
interface Whose {
  clinic: string
  clinician: string
}

/** The end of a calendar's address: nobody can guess it, and it needs no record of its own. */
const markOf = ({ digest }: Pick<Deps, 'digest'>, { clinic, clinician }: Whose, edition: number): string =>
  digest(`calendar ${edition} ${clinic} ${clinician}`).slice(0, 22)

/** The path of a calendar, as its clinic's settings are now. */
export function calendarPath(deps: Pick<Deps, 'digest'>, { id, settings }: Clinic, clinician: string): string {
  const whose = { clinic: id, clinician }
  const name = Buffer.from(clinician).toString('base64url')
  const parts = [encodeURIComponent(id), ...(clinician === '' ? [] : [name])]
  return `/calendars/${parts.join('/')}/${markOf(deps, whose, settings.calendarEdition)}.ics`
}

/** Every calendar that a clinic shows: its own, and one for each clinician with a visit to come. */
export async function calendarsOf(deps: Deps, clinic: Clinic): Promise<{ clinician: string; path: string }[]> {
  if (clinic.settings.calendar === 'none') return []
  const from = deps.clock.now()
  const visits = await deps.store.read.bookings.list({ clinicId: clinic.id, from, state: 'booked', limit: MOST })
  const clinicians = [...new Set(visits.map(({ clinician }) => clinician))].filter((each) => each !== '').sort()
  return ['', ...clinicians].map((clinician) => ({ clinician, path: calendarPath(deps, clinic, clinician) }))
}

/** Calendars to be read elsewhere (RFC 5545, 7986). No sign-in: the address is the key. */
export function calendars(deps: Deps): Router {
  const router = Router()
  router.get(['/:clinic/:mark.ics', '/:clinic/:clinician/:mark.ics'], async (request, response) => {
    const { clinic: id, clinician: name, mark } = request.params as Record<string, string | undefined>
    const clinician = name === undefined ? '' : Buffer.from(name, 'base64url').toString()
    const clinic = await deps.store.read.clinics.get(id!)
    const right = clinic && markOf(deps, { clinic: clinic.id, clinician }, clinic.settings.calendarEdition)
    if (!clinic || clinic.settings.calendar === 'none' || !sameSecret(mark!, right!)) throw nothingHere()
    response.set({ 'Cache-Control': `private, max-age=${AGAIN_S}`, 'X-Robots-Tag': 'noindex, nofollow' })
    response.type('text/calendar; charset=utf-8').send(await calendarOf(deps, clinic, clinician))
  })
  return router
}

const nothingHere = () => new Failure('not-found', { message: 'There is no calendar at this address.' })

async function calendarOf(deps: Deps, clinic: Clinic, clinician: string): Promise<string> {
  const now = deps.clock.now().getTime()
  const interval = { from: new Date(now - BEHIND_DAYS * DAY_MS), to: new Date(now + AHEAD_DAYS * DAY_MS) }
  const visits = await deps.store.read.bookings.list({ clinicId: clinic.id, ...interval, limit: MOST })
  const calendar = ical({
    ...{ prodId: { company: 'Daysix', product: 'visits', language: 'EN' }, ttl: AGAIN_S },
    name: clinician === '' ? clinic.name : `${clinic.name}: ${clinician}`,
  })
  for (const visit of visits.filter((each) => clinician === '' || each.clinician === clinician))
    calendar.createEvent(await eventOf(deps, clinic, visit))
  return calendar.toString()
}

/** The same text each time for the same visits, so that whoever asks again is told that nothing has changed. */
async function eventOf(deps: Deps, { settings }: Clinic, visit: Booking) {
  const named = settings.calendar === 'with-names' ? await deps.store.read.patients.get(visit.patientId) : undefined
  const isOff = visit.state === 'cancelled'
  return {
    id: `${deps.digest(`calendar visit ${visit.id}`).slice(0, 22)}@daysix`,
    // Moves and a cancellation each count (RFC 5545 3.8.7.4).
    sequence: visit.moves + (isOff ? 1 : 0),
    ...{
      stamp: visit.createdAt,
      start: visit.visitAt,
      end: new Date(visit.visitAt.getTime() + visit.minutes * 60_000),
    },
    summary: named ? `Visit: ${named.name}` : 'Visit',
    ...(visit.clinician !== '' && { location: visit.clinician }),
    status: isOff ? ICalEventStatus.CANCELLED : ICalEventStatus.CONFIRMED,
    class: ICalEventClass.PRIVATE,
  }
}
