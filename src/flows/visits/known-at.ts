import type { Patient } from '../../domain/patients/patient.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Records } from '../ports/deps.ts'

const DAY_MS = 86_400_000
const MOST_VISITS = 50
const MOST_TIMES = 400
const A_MONTH_MS = 28 * DAY_MS

/** A patient that a clinic knows at a number, with the visits to come. */
export interface KnownPatient {
  patient: Patient
  visits: Booking[]
}

/** Whom this clinic knows at a number; nobody where the number is not known yet (empty). */
export async function knownAt(records: Records, clinicId: string, phone: string, now: Date): Promise<KnownPatient[]> {
  if (phone === '') return []
  const patients = (await records.patients.byPhone(phone)).filter((patient) => patient.clinicId === clinicId)
  if (patients.length === 0) return []
  const patientIds = patients.map(({ id }) => id)
  const visits = await records.bookings.list({ patientIds, from: now, state: 'booked', limit: MOST_VISITS })
  return patients.map((patient) => ({ patient, visits: visits.filter(({ patientId }) => patientId === patient.id) }))
}

/** Times of a clinic within a month of this one: those that are free, held or taken. */
export async function timesAround(records: Records, clinicId: string, at: Date): Promise<Date[]> {
  const [from, to] = [new Date(at.getTime() - A_MONTH_MS), new Date(at.getTime() + A_MONTH_MS)]
  return (await records.slots.list({ clinicId, from, to, limit: MOST_TIMES })).map(({ startsAt }) => startsAt)
}
