import type { Booking } from '../domain/visits/booking.ts'
import { Failure } from '../domain/failure.ts'
import { endOf, LONGEST_MINUTES, sameTime } from '../domain/visits/duration.ts'
import type { Message } from '../domain/messages/message.ts'
import type { Patient } from '../domain/patients/patient.ts'
import { goneProtocol } from '../domain/preparation/gone-protocol.ts'
import type { FullProtocol } from '../domain/preparation/protocol.ts'
import type { Clinic } from '../domain/region/clinic.ts'
import type { VisitContext } from './visit-context.ts'
import type { Deps, Records } from './ports/deps.ts'

/**
 * The protocol of a visit that is kept. Of a visit that is over it may be gone since; then nothing of it holds any
 * more. For visits to come it is there: see `refuseMissingProtocols`.
 */
export function protocolOf({ protocols }: Pick<Deps, 'protocols'>, id: string): FullProtocol {
  return protocols.get(id) ?? goneProtocol(id)
}

/** @throws bad-input when there is no such protocol. */
export function knownProtocol(deps: Pick<Deps, 'protocols'>, id: string): FullProtocol {
  const protocol = deps.protocols.get(id)
  if (!protocol)
    throw new Failure('bad-input', {
      field: 'protocol',
      message: `No such protocol. Known: ${[...deps.protocols.keys()].join(', ')}.`,
    })
  return protocol
}

/** Gateways that never say what arrived. */
export function silentGateways({ gateways }: Pick<Deps, 'gateways'>): ReadonlySet<string> {
  return new Set([...gateways.values()].filter(({ receipts }) => receipts === false).map(({ name }) => name))
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

/** Whether the patient of this booking is at another visit for some of its time. */
export async function hasOtherVisitAt(records: Records, booking: Booking): Promise<boolean> {
  const from = endOf(booking.visitAt, -LONGEST_MINUTES)
  const to = endOf(booking.visitAt, booking.minutes)
  const near = await records.bookings.list({ patientIds: [booking.patientId], from, to, state: 'booked', limit: 50 })
  return near.some((other) => other.id !== booking.id && sameTime(other, booking))
}
