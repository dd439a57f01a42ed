import { DateTime } from 'luxon'
import type { z } from 'zod'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import { badInput } from '../../../domain/failure.ts'
import { checkHistory } from '../../../domain/preparation/cycle/check-history.ts'
import { forecastDays } from '../../../domain/preparation/cycle/forecast.ts'
import { prepStatus } from '../../../domain/preparation/prep-status.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { amendBooking, cancelBooking, type Amendment } from '../../../flows/visits/amend-booking.ts'
import { bookVisit, clinicOf } from '../../../flows/visits/book-visit.ts'
import type { Booked, NewlyBooked } from '../../../flows/visits/booking-request.ts'
import { judgeBooking, windowsOf } from '../../../flows/visits/judge-booking.ts'
import { orNotFound, protocolOf, loadVisit, silentGateways } from '../../../flows/lookups.ts'
import { recordOutcome } from '../../../flows/visits/record-outcome.ts'
import { KEYS_KEPT_DAYS, withIdempotencyKey } from '../../../flows/visits/idempotency.ts'
import type { BookingQuery, Deps, Tx } from '../../../flows/ports/deps.ts'
import { enqueueJobsSoon } from '../../../flows/messages/enqueue-due.ts'
import type { Note } from '../../../flows/ports/traces.ts'
import { route, type Answer, type Route } from '../route.ts'
import {
  amendmentSchema,
  bookingListSchema,
  bookingSchema,
  cancelSchema,
  outcomeSchema,
  toHistory,
} from '../schemas.ts'
import { bookingView, eventView, messageView, offerView, openingView, planView, timingView } from '../views.ts'

const KEY_WORDS =
  `A new one for each booking: repeating it within ${KEYS_KEPT_DAYS} days repeats the answer instead of the booking. ` +
  'After that it is a new one.'

export function bookingRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'post',
      path: '/bookings',
      access: { may: 'visits:write', namesClinic: true },
      summary: 'Book a visit. Says whether the time is good and, if not, up to three better openings.',
      headers: { 'Idempotency-Key': KEY_WORDS },
      body: bookingSchema,
      answers: { 201: 'Booked: booking, timing, better openings, plan.' },
      handle: ({ body, request }) =>
        deps.traces.span('book visit', {}, (note) => book(deps, body, request.get('Idempotency-Key'), note)),
    }),
    route({
      method: 'get',
      path: '/bookings',
      access: { may: 'visits:read', namesClinic: true },
      summary: 'List visits by day, interval or state, in order of time, a page at a time.',
      query: bookingListSchema,
      answers: { 200: 'A page: bookings, and `next` where there are more.' },
      handle: ({ query }) => list(deps, query),
    }),
    route({
      method: 'get',
      path: '/bookings/{id}',
      access: { may: 'visits:read' },
      summary: 'One booking with its timing, messages, offer and history.',
      answers: { 200: 'The booking.' },
      handle: ({ params }) => read(deps, params.id!),
    }),
    route({
      method: 'patch',
      path: '/bookings/{id}',
      access: { may: 'visits:write' },
      summary: 'Amend a booking: time, patient, cycle, protocol. The plan is made anew. Not once its day is over.',
      body: amendmentSchema,
      answers: { 200: 'As amended: booking, timing, better openings, plan.' },
      handle: async ({ params, body }) => ({
        status: 200,
        body: bookedView(deps, await amendBooking(deps, params.id!, await toAmendment(deps, params.id!, body))),
      }),
    }),
    ...endingRoutes(deps),
  ]
}

function endingRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'post',
      path: '/bookings/{id}/outcome',
      // A clinician is tied to a list, and records it on the day sheet.
      access: { may: 'visits:write' },
      summary: 'Record how a visit ended: collected, not collected and why, or the patient did not come.',
      body: outcomeSchema,
      answers: { 200: 'The booking with its outcome.' },
      handle: async ({ params, body }) => {
        const about = await loadVisit(deps.store.read, await recordOutcome(deps, params.id!, body))
        return { status: 200, body: { booking: bookingView(about.booking, about.patient) } }
      },
    }),
    route({
      method: 'post',
      path: '/bookings/{id}/cancel',
      access: { may: 'visits:write' },
      summary: 'Cancel a booking: nothing more is sent and its time is free again. Not once its day is over.',
      body: cancelSchema,
      answers: { 200: 'The cancelled booking.' },
      handle: async ({ params, body }) => {
        const about = await loadVisit(deps.store.read, await cancelBooking(deps, params.id!, body.by))
        return { status: 200, body: { booking: bookingView(about.booking, about.patient) } }
      },
    }),
  ]
}

async function book(
  deps: Deps,
  body: z.infer<typeof bookingSchema>,
  key: string | undefined,
  note: Note,
): Promise<Answer> {
  if (key !== undefined && (key.length < 8 || key.length > 200))
    badInput('Idempotency-Key', 'Use 8 to 200 characters, e.g. a UUID.')
  let booked: NewlyBooked | undefined
  const look = (tx: Tx) => clinicOf(tx, body.clinic)
  const work = async (tx: Tx, clinic: Clinic) => {
    booked = await bookVisit(tx, deps, { ...body, cycle: (today) => toHistory(body.cycle, today) }, clinic)
    return { status: 201, body: bookedView(deps, booked) }
  }
  const answer =
    key === undefined
      ? { ...(await deps.store.transact(async (tx) => work(tx, await look(tx)))), repeated: false }
      : await withIdempotencyKey(deps, key, body, look, work)
  const { id } = (answer.body as ReturnType<typeof bookedView>).booking
  note(answer.repeated ? { idle: true } : { booking: id })
  if (booked) enqueueJobsSoon(deps, booked.jobs, booked.booking.id)
  if (!answer.repeated) deps.notice('booked', { booking: id })
  return {
    status: answer.status,
    body: answer.body,
    headers: { Location: `/api/v1/bookings/${id}`, ...(answer.repeated && { 'Idempotency-Replayed': 'true' }) },
  }
}

/** Today where the patient is; an unknown zone is found out, and said, by the flow. */
function today(deps: Deps, zone = 'UTC'): string {
  const local = DateTime.fromJSDate(deps.clock.now(), { zone })
  return (local.isValid ? local : local.setZone('UTC')).toISODate() ?? dateIn(deps.clock.now(), 'UTC')
}

async function toAmendment(deps: Deps, id: string, body: z.infer<typeof amendmentSchema>): Promise<Amendment> {
  const { cycle, ...rest } = body
  if (!cycle) return rest
  const { zone } = orNotFound(await deps.store.read.bookings.get(id), 'booking')
  return { ...rest, cycle: toHistory(cycle, today(deps, body.zone ?? zone)) }
}

function bookedView(deps: Deps, { booking, patient, judgement, openings, plan }: Booked) {
  const doubts = checkHistory(patient.cycle, dateIn(deps.clock.now(), booking.zone))
  return {
    booking: bookingView(booking, patient),
    timing: timingView(judgement, windowsOf(deps, booking, patient.cycle), doubts),
    openings: openings.map((each) => openingView(each, booking.zone)),
    plan: planView(plan, booking.zone),
  }
}

async function list(deps: Deps, query: z.infer<typeof bookingListSchema>): Promise<Answer> {
  const bookings = await deps.store.read.bookings.list(await toQuery(deps, query))
  const page = bookings.slice(0, query.limit)
  const last = page.at(-1)
  const next =
    bookings.length > query.limit && last
      ? Buffer.from(`${last.visitAt.toISOString()}|${last.id}`).toString('base64url')
      : null
  return { status: 200, body: { bookings: await listed(deps, page), next } }
}

async function toQuery(
  deps: Deps,
  { clinic, day, from, to, state, limit, cursor }: z.infer<typeof bookingListSchema>,
): Promise<BookingQuery> {
  const zone = clinic ? orNotFound(await deps.store.read.clinics.get(clinic), 'clinic').zone : 'UTC'
  const start = (date: string, days = 0) => DateTime.fromISO(date, { zone }).plus({ days }).toJSDate()
  return {
    ...(clinic && { clinicId: clinic }),
    ...(from && { from: start(from) }),
    ...(to && { to: start(to) }),
    ...(day && { from: start(day), to: start(day, 1) }),
    ...(state && { state }),
    ...(cursor && { after: readCursor(cursor) }),
    limit: limit + 1,
  }
}

function readCursor(cursor: string): { visitAt: Date; id: string } {
  const [instant, id] = Buffer.from(cursor, 'base64url').toString().split('|')
  const visitAt = DateTime.fromISO(instant ?? '')
  if (!visitAt.isValid || !id) badInput('cursor', 'Use the `next` of the page before, unchanged.')
  return { visitAt: visitAt.toJSDate(), id }
}

/** The bookings of a page with what a list shows of each: two queries for the page, not two for each booking. */
async function listed(deps: Deps, bookings: Booking[]) {
  const patients = await deps.store.read.patients.many([...new Set(bookings.map(({ patientId }) => patientId))])
  const byId = new Map(patients.map((patient) => [patient.id, patient]))
  const messages = await deps.store.read.messages.ofBookings(bookings.map(({ id }) => id))
  return bookings.map((booking) => {
    const patient = byId.get(booking.patientId)!
    const own = messages.filter(({ bookingId }) => bookingId === booking.id)
    const protocol = protocolOf(deps, booking.protocol)
    return {
      ...bookingView(booking, patient, prepStatus(booking, protocol, own, patient.phone, silentGateways(deps))),
      timing: timing(deps, booking, patient),
    }
  })
}

function timing(deps: Deps, booking: Booking, patient: Patient) {
  const date = dateIn(booking.visitAt, booking.zone)
  const asOf = dateIn(deps.clock.now(), booking.zone)
  const { cycleDay, avoidProbability, rating } = forecastDays(
    patient.cycle,
    { from: date, to: date },
    protocolOf(deps, booking.protocol),
    asOf,
  )[0]!
  return { cycleDay, avoidProbability, rating }
}

async function read(deps: Deps, id: string): Promise<Answer> {
  const { read: records } = deps.store
  const about = await loadVisit(records, await records.bookings.get(id))
  const { booking, patient } = about
  const messages = await records.messages.ofBooking(id)
  const offer = await records.offers.pending(id)
  const trail = await records.events.ofBooking(id)
  const { zone } = booking
  return {
    status: 200,
    body: {
      booking: bookingView(
        booking,
        patient,
        prepStatus(booking, protocolOf(deps, booking.protocol), messages, patient.phone, silentGateways(deps)),
      ),
      timing: timingView((await judgeBooking(records, deps, about)).judgement, windowsOf(deps, booking, patient.cycle)),
      messages: messages.map((message) => messageView(message, zone)),
      offer: offer ? offerView(offer, zone) : null,
      trail: trail.map((event) => eventView(event, zone)),
    },
  }
}
