import type { Clinic } from '../region/clinic.ts'
import type { Booking } from '../visits/booking.ts'
import type { Patient } from './patient.ts'

interface Whereabouts {
  patient: Pick<Patient, 'zone'> | null
  booking: Pick<Booking, 'zone'> | null
  clinic: Pick<Clinic, 'zone'>
}

/**
 * The clock that a patient lives by: sending hours and the allowance of a day keep to it. A visit is named, and days of
 * a cycle are counted, in the visit's own zone, which is the clinic's.
 */
export const homeZone = ({ patient, booking, clinic }: Whereabouts): string =>
  patient?.zone ?? booking?.zone ?? clinic.zone
