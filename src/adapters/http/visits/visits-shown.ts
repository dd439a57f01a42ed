import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { forecastDays } from '../../../domain/preparation/cycle/forecast.ts'
import type { DayForecast } from '../../../domain/preparation/cycle/history.ts'
import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import { prepStatus, type PrepStatus } from '../../../domain/preparation/prep-status.ts'
import type { FullProtocol } from '../../../domain/preparation/protocol.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { protocolOf, silentGateways } from '../../../flows/lookups.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { grouped } from '../desk/grouped.ts'

/** A visit with what lists and the day sheet show of it. */
export interface Visit {
  booking: Booking
  patient: Patient
  protocol: FullProtocol
  forecast: DayForecast
  standing: PrepStatus
  open: FollowUp[]
}

const MOST_OPEN = 500

/** Three queries for all visits of a page, not three for each. */
export async function visitsOf(deps: Deps, bookings: readonly Booking[]): Promise<Visit[]> {
  const { read } = deps.store
  if (bookings.length === 0) return []
  const ids = bookings.map(({ id }) => id)
  const patients = new Map(
    (await read.patients.many([...new Set(bookings.map(({ patientId }) => patientId))])).map((each) => [each.id, each]),
  )
  const messages = grouped(await read.messages.ofBookings(ids), ({ bookingId }) => bookingId)
  const open = grouped(
    await read.followUps.list({ bookingIds: ids, open: true, limit: MOST_OPEN }),
    ({ bookingId }) => bookingId,
  )
  return bookings.map((booking) => {
    const patient = patients.get(booking.patientId)!
    const protocol = protocolOf(deps, booking.protocol)
    return {
      booking,
      patient,
      protocol,
      forecast: forecastOf(deps, booking, patient, protocol),
      standing: prepStatus(booking, protocol, messages.get(booking.id) ?? [], patient.phone, silentGateways(deps)),
      open: open.get(booking.id) ?? [],
    }
  })
}

function forecastOf(deps: Deps, { visitAt, zone }: Booking, { cycle }: Patient, protocol: FullProtocol): DayForecast {
  const date = dateIn(visitAt, zone)
  return forecastDays(cycle, { from: date, to: date }, protocol, dateIn(deps.clock.now(), zone))[0]!
}
