import type { Booking } from '../domain/visits/booking.ts'
import { Failure } from '../domain/failure.ts'
import type { Message } from '../domain/messages/message.ts'
import type { Patient } from '../domain/patients/patient.ts'
import type { FullProtocol } from '../domain/preparation/protocol.ts'
import type { Clinic } from '../domain/region/clinic.ts'
import type { VisitContext } from './visit-context.ts'
import type { Deps, Records } from './ports/deps.ts'

/** @throws bad-input when there is no such protocol. */
export function protocolOf(deps: Pick<Deps, 'protocols'>, id: string): FullProtocol {
  const protocol = deps.protocols.get(id)
  if (!protocol) throw new Failure('bad-input', { field: 'protocol', message: `No such protocol. Known: ${[...deps.protocols.keys()].join(', ')}.` })
  return protocol
}

/** @throws not-found */
export function orNotFound<T>(record: T | undefined, what: string): T {
  if (record === undefined) throw new Failure('not-found', { message: `There is no such ${what}.` })
  return record
}

/** A booking with the people around it. @throws not-found */
export async function loadVisit(records: Records, booking: Booking | undefined): Promise<VisitContext> {
  const known = orNotFound(booking, 'booking')
  const patient = orNotFound(await records.patients.get(known.patientId), 'patient')
  const clinic = orNotFound(await records.clinics.get(known.clinicId), 'clinic')
  return { booking: known, patient, clinic }
}

/** Whom and what a message is about, as far as it is kept. @throws not-found */
export async function subjectOf(
  records: Records,
  { bookingId, patientId, clinicId }: Message,
): Promise<{ booking: Booking | null; patient: Patient | null; clinic: Clinic }> {
  const [booking, patient, clinic] = await Promise.all([
    bookingId === null ? undefined : records.bookings.get(bookingId),
    patientId === null ? undefined : records.patients.get(patientId),
    records.clinics.get(clinicId),
  ])
  const known = { booking: booking ?? null, patient: patient ?? null }
  return { ...known, clinic: orNotFound(clinic, 'clinic') }
}

/** Whether the patient of this booking has another one at that very instant. */
export async function hasOtherVisitAt(records: Records, { id, patientId }: Booking, at: Date): Promise<boolean> {
  const to = new Date(at.getTime() + 1)
  const same = await records.bookings.list({ patientIds: [patientId], from: at, to, state: 'booked', limit: 2 })
  return same.some((other) => other.id !== id)
}
