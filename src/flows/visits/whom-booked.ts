import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { howReached } from '../../domain/patients/how-reached.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import { samePerson } from '../../domain/patients/same-person.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { countedSince } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { BookingRequest } from './booking-request.ts'

/**
 * What this clinic knows of whoever is booked for, by `samePerson`: the same name at the same number, unless a second
 * identifier tells them apart; the number alone is nobody's. It stays true until the visit is written down: the number,
 * its patients and their visits are locked, before the time is taken.
 */
export async function patientOf(
  tx: Tx,
  deps: Deps,
  request: Pick<BookingRequest, 'patient'> & { cycle: CycleHistory },
  clinic: Clinic,
) {
  const { name, phone, birthDate, ownNumber, language, zone } = request.patient
  const e164 = toE164(phone, clinic.country, 'patient.phone')
  const now = deps.clock.now()
  const [known, , optOut, others] = await Promise.all([
    tx.patients.lockAt(e164, clinic.id),
    tx.bookings.lockToCome({ phone: e164, clinicId: clinic.id }, now),
    tx.optOuts.get(e164),
    tx.messages.unsolicitedTo(e164, countedSince(now), null),
  ])
  const second = { ...(birthDate !== undefined && { birthDate }), ...(ownNumber !== undefined && { ownNumber }) }
  const before = samePerson(known, { name, ...second })
  const cycle = before ? carriedOver(before.cycle, request.cycle) : request.cycle
  const told = {
    name: name.trim(),
    phone: e164,
    ...second,
    language,
    ...howReached(before, request.patient, now),
    cycle,
    ...(zone !== undefined && { zone }),
  }
  const patient: Patient = { ...before, id: before?.id ?? deps.newId('p'), clinicId: clinic.id, ...told }
  return { patient, before, optOut, others }
}

/** What an earlier booking knew of past cycles is kept; the newest word on everything else counts. */
function carriedOver(before: CycleHistory, told: CycleHistory): CycleHistory {
  const { pastStarts = [], pastCycleDays, age, lmp } = before
  const starts = new Set([
    ...pastStarts,
    ...(told.pastStarts ?? []),
    ...(lmp && told.lmp && lmp < told.lmp ? [lmp] : []),
  ])
  const kept = { ...(pastCycleDays && { pastCycleDays }), ...(age !== undefined && { age }) }
  return { ...kept, ...told, ...(starts.size > 0 && { pastStarts: [...starts].sort() }) }
}
