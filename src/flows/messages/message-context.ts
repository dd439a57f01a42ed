import type { Message } from '../../domain/messages/message.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import type { DispatchContext } from '../ports/deps.ts'

/** One message with what decides about it. */
export interface MessageContext {
  booking: Booking | null
  patient: Patient | null
  clinic: Clinic
  zone: string
  offer: Offer | undefined
  asked: boolean
}

/** What decides about a message, out of what was read for many. */
export function contextOf({ bookingId, patientId, clinicId }: Message, found: DispatchContext): MessageContext {
  const booking = (bookingId !== null && found.bookings.get(bookingId)) || null
  const patient = (patientId !== null && found.patients.get(patientId)) || null
  const clinic = found.clinics.get(clinicId)!
  const offer = bookingId === null ? undefined : found.offers.get(bookingId)
  const asked = bookingId !== null && found.asked.has(bookingId)
  return { booking, patient, clinic, zone: booking?.zone ?? clinic.zone, offer, asked }
}
