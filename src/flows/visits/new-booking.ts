import type { Booking } from '../../domain/visits/booking.ts'

/** What is known of a visit when it is booked. */
type BookingFacts = Pick<
  Booking,
  'id' | 'patientId' | 'clinicId' | 'clinician' | 'protocol' | 'visitAt' | 'minutes' | 'zone' | 'createdAt'
> &
  Partial<Pick<Booking, 'purpose' | 'dueBy'>>

/** A new booking, not yet planned. */
export function newBooking(facts: BookingFacts): Booking {
  return {
    purpose: 'routine',
    dueBy: null,
    ...facts,
    firstVisitAt: facts.visitAt,
    moves: 0,
    state: 'booked',
    planRevision: 0,
    planBasis: '',
    confirmedAt: null,
    shortNotice: false,
    lapses: [],
    needs: [],
    outcome: null,
  }
}
