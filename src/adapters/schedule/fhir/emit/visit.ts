import type { Booking } from '../../../../domain/visits/booking.ts'
import { endOf } from '../../../../domain/visits/duration.ts'
import type { Patient } from '../../../../domain/patients/patient.ts'
import type { AppointmentKey } from '../../../../domain/schedule/schedule-news.ts'
import { toFhirId } from './fhir-id.ts'
import { instantOf, placeOf, type Written } from './resource.ts'

/** How a visit stands, in codes of R4's `appointmentstatus`. */
export const VISIT_STATUSES = ['booked', 'cancelled', 'fulfilled', 'noshow'] as const
export type VisitStatus = (typeof VISIT_STATUSES)[number]

/** Whether anything was collected, and why not, is not told: the visit took place. */
export function statusOfVisit({ state, outcome }: Pick<Booking, 'state' | 'outcome'>): VisitStatus {
  if (state === 'cancelled') return 'cancelled'
  if (outcome === null) return 'booked'
  return outcome.kind === 'absent' ? 'noshow' : 'fulfilled'
}

/** A visit with what surrounds it. */
export interface VisitToTell {
  booking: Booking
  patient: Patient
  clinic: { id: string; name: string }
  /** The protocol's name. */
  kind: string
  /** As whoever keeps the schedule calls it; null = none told of it. */
  theirs: AppointmentKey | null
}

/**
 * R4 `Appointment`. Of the patient the name and the way to reach them, contained; nothing of cycles, preparation,
 * purpose, needs or what the patient wrote.
 */
export function appointmentOf({ booking, patient, clinic, kind, theirs }: VisitToTell): Written {
  const { id, visitAt, minutes, clinician, createdAt, confirmedAt } = booking
  return {
    resourceType: 'Appointment',
    id: toFhirId(id),
    contained: [patientOf(patient)],
    ...(theirs && { identifier: [identifierOf(theirs)] }),
    status: statusOfVisit(booking),
    serviceType: [{ text: kind }],
    start: instantOf(visitAt),
    end: instantOf(endOf(visitAt, minutes)),
    minutesDuration: minutes,
    created: instantOf(createdAt),
    participant: [
      { actor: { reference: '#patient', type: 'Patient' }, status: confirmedAt === null ? 'needs-action' : 'accepted' },
      { actor: placeOf(clinic), status: 'accepted' },
      ...(clinician === '' ? [] : [{ actor: { type: 'Practitioner', display: clinician }, status: 'accepted' }]),
    ],
  }
}

/** FHIR's `uri` has no blanks; a namespace that is none is left out. */
function identifierOf({ id, namespace }: AppointmentKey) {
  return { ...(/^\S+$/.test(namespace) && { system: namespace }), value: id }
}

/** The number of somebody who receives in the patient's stead is theirs. */
function patientOf({ name, phone, email, channel, receiver }: Patient): Written {
  const telecom = [
    { system: 'phone', value: phone, rank: channel === 'email' ? 2 : 1 },
    ...(email ? [{ system: 'email', value: email, rank: channel === 'email' ? 1 : 2 }] : []),
  ]
  return {
    resourceType: 'Patient',
    id: 'patient',
    ...(name.trim() !== '' && { name: [{ text: name }] }),
    ...(receiver ? { contact: [{ ...(receiver.name && { name: { text: receiver.name } }), telecom }] } : { telecom }),
  }
}
