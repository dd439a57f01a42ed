import type { z } from 'zod'
import type { Booking } from '../../../../domain/visits/booking.ts'
import { keyFrom } from '../../../../domain/schedule/schedule-news.ts'
import { orNotFound, protocolOf } from '../../../../flows/lookups.ts'
import type { BookingQuery, Deps } from '../../../../flows/ports/deps.ts'
import type { Written } from '../../../schedule/fhir/emit/resource.ts'
import { fromFhirId, isOurFhirId } from '../../../schedule/fhir/emit/fhir-id.ts'
import { appointmentOf, statusOfVisit, VISIT_STATUSES, type VisitStatus } from '../../../schedule/fhir/emit/visit.ts'
import { clinicsNamed } from './address.ts'
import type { Found, visitQuery } from './queries.ts'
import { codesIn, intervalOf, readCursor, writeCursor } from './search.ts'

/** One visit. @throws not-found */
export async function appointment(deps: Deps, id: string): Promise<Written> {
  const found = isOurFhirId(id) ? await deps.store.read.bookings.get(fromFhirId(id)) : undefined
  return (await told(deps, [orNotFound(found, 'Appointment')]))[0]!
}

/** A page of visits; one of fewer than were asked for may have another after it. */
export async function appointments(deps: Deps, query: z.infer<typeof visitQuery>): Promise<Found> {
  const { bookings: records, clinics } = deps.store.read
  const [clinicId] = clinicsNamed(query.location)
  const zone = clinicId === undefined ? 'UTC' : orNotFound(await clinics.get(clinicId), 'clinic').zone
  const wanted = codesIn(query.status, VISIT_STATUSES, 'status')
  const all: BookingQuery = {
    ...(clinicId !== undefined && { clinicId }),
    ...intervalOf(query.date, zone, 'date'),
    ...stateOf(wanted),
    ...(query._cursor !== undefined && { after: afterOf(query._cursor) }),
    limit: query._count + 1,
  }
  const rows = await records.list(all)
  const page = rows.slice(0, query._count)
  const last = page.at(-1)
  const fitting = page.filter((each) => wanted?.includes(statusOfVisit(each)) ?? true)
  const cursor = rows.length > page.length && last ? writeCursor(last.visitAt, [last.id]) : undefined
  return { found: await told(deps, fitting), cursor }
}

function afterOf(cursor: string) {
  const { at, ids } = readCursor(cursor)
  return { visitAt: at, id: ids[0]! }
}

/** What the records can tell apart by themselves. */
function stateOf(wanted: readonly VisitStatus[] | undefined): Pick<BookingQuery, 'state'> {
  if (!wanted) return {}
  if (wanted.every((each) => each === 'cancelled')) return { state: 'cancelled' }
  return wanted.includes('cancelled') ? {} : { state: 'booked' }
}

async function told(deps: Deps, bookings: readonly Booking[]): Promise<Written[]> {
  const { patients, clinics, feeds } = deps.store.read
  const [people, places, keys] = await Promise.all([
    patients.many([...new Set(bookings.map(({ patientId }) => patientId))]),
    clinics.list(),
    Promise.all(bookings.map(({ id }) => feeds.ofBooking(id))),
  ])
  const byId = new Map(people.map((each) => [each.id, each]))
  const clinicOf = new Map(places.map((each) => [each.id, each]))
  return bookings.flatMap((booking, index) => {
    const patient = byId.get(booking.patientId)
    const key = keys[index]?.key
    if (!patient) return []
    const { names } = protocolOf(deps, booking.protocol)
    return appointmentOf({
      ...{
        booking,
        patient,
        clinic: clinicOf.get(booking.clinicId) ?? { id: booking.clinicId, name: booking.clinicId },
      },
      ...{ kind: names.en ?? booking.protocol, theirs: key === undefined ? null : keyFrom(key) },
    })
  })
}
