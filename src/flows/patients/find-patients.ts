import type { Booking } from '../../domain/visits/booking.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { Failure } from '../../domain/failure.ts'
import { lookedFor } from '../../domain/patients/search-words.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import type { Deps } from '../ports/deps.ts'

const ENOUGH_DIGITS = 7

/**
 * The visits at a clinic of patients with this name, telephone or its last four digits, birth date or own number;
 * newest visit first.
 */
export async function findPatients(
  { store }: Pick<Deps, 'store'>,
  clinic: Clinic,
  typed: string,
  limit: number,
): Promise<Booking[]> {
  const patientIds = await idsOf({ store }, clinic, typed, limit)
  if (patientIds.length === 0) return []
  return store.read.bookings.list({ patientIds, clinicId: clinic.id, newestFirst: true, limit })
}

async function idsOf(
  { store }: Pick<Deps, 'store'>,
  { id, country }: Clinic,
  typed: string,
  limit: number,
): Promise<string[]> {
  const found = await store.read.patients.search(lookedFor(typed), id, limit)
  if (typed.replaceAll(/\D/g, '').length < ENOUGH_DIGITS) return found
  try {
    const known = await store.read.patients.byPhone(toE164(typed, country))
    const there = known.filter(({ clinicId }) => clinicId === id).map((patient) => patient.id)
    return [...new Set([...there, ...found])]
  } catch (error) {
    // Digits that are no number find nobody; that is no fault of the clerk's.
    if (error instanceof Failure) return found
    throw error
  }
}
