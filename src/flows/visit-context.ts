import type { Patient } from '../domain/patients/patient.ts'
import type { Clinic } from '../domain/region/clinic.ts'
import type { Booking } from '../domain/visits/booking.ts'

/** A visit with whom it is for and where. */
export interface VisitContext {
  booking: Booking
  patient: Patient
  clinic: Clinic
}

/** The patient is recorded as pregnant, or comes because of it. */
export function isPregnant({ booking, patient }: Pick<VisitContext, 'booking' | 'patient'>): boolean {
  return patient.cycle.status === 'pregnant' || booking.purpose === 'pregnancy'
}
