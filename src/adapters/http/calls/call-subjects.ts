import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { PageContext } from '../desk/page-context.ts'

/** A call with whom and which visit it is about. */
export interface CallSubject {
  followUp: FollowUp
  patient: Patient | null
  booking: Booking | null
}

/** In the order of the calls: two queries for all of them. */
export async function subjectsOf(
  { deps }: Pick<PageContext, 'deps'>,
  followUps: readonly FollowUp[],
): Promise<CallSubject[]> {
  const { read } = deps.store
  const known = (ids: (string | null)[]) => [...new Set(ids.filter((id) => id !== null))]
  const [patients, bookings] = await Promise.all([
    read.patients.many(known(followUps.map(({ patientId }) => patientId))),
    read.bookings.many(known(followUps.map(({ bookingId }) => bookingId))),
  ])
  const patientOf = new Map(patients.map((each) => [each.id, each]))
  const bookingOf = new Map(bookings.map((each) => [each.id, each]))
  return followUps.map((followUp) => ({
    followUp,
    patient: (followUp.patientId !== null && patientOf.get(followUp.patientId)) || null,
    booking: (followUp.bookingId !== null && bookingOf.get(followUp.bookingId)) || null,
  }))
}
