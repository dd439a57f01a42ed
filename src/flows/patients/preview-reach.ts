import { Failure } from '../../domain/failure.ts'
import { howReached, type HowReached, type ToldReach } from '../../domain/patients/how-reached.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import { samePerson } from '../../domain/patients/same-person.ts'
import { whyUnreachable, type Obstacle } from '../../domain/patients/unreachable.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Deps } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import type { CalendarDate } from '../../domain/preparation/cycle/history.ts'
import { consentOf, doubtOf } from './record-consent.ts'

interface Proposed {
  clinic: Clinic
  patient: Omit<Patient, 'id' | keyof HowReached>
  reach: ToldReach
  agrees: { until: CalendarDate | null } | null
}

/** The patient as a booking would leave what is known, with what was agreed to before. Nothing is kept. */
export async function whoItWouldBe(
  deps: Deps,
  { clinic, patient, reach, agrees }: Proposed,
): Promise<{ patient: Patient; consents: Consent[] }> {
  const { read } = deps.store
  const there = patient.phone === '' ? [] : await read.patients.byPhone(patient.phone)
  const before = samePerson(
    there.filter(({ clinicId }) => clinicId === clinic.id),
    patient,
  )
  const whom = { ...before, id: '', ...patient, ...reachedBy(before, reach, deps.clock.now()) }
  const given = agrees ? [{ ...consentOf(deps, whom, clinic.zone, NOBODY), until: agrees.until }] : []
  if (!before) return { patient: whom, consents: given }
  const consents = await read.patients.consents(before.id)
  const doubted = { ...whom, handsDoubt: await doubtOf(read, deps, whom, consents, clinic) }
  return { patient: doubted, consents: [...consents, ...given] }
}

/** Nothing is recorded yet. */
const NOBODY = { recordedBy: '' }

/** What contradicts itself is said beside the field when the form is sent; until then, as far as it goes. */
function reachedBy(before: Patient | undefined, told: ToldReach, now: Date): HowReached {
  try {
    return howReached(before, told, now)
  } catch (error) {
    if (error instanceof Failure) return howReached(before, { reach: told.reach, receiver: told.receiver }, now)
    throw error
  }
}

/** Why nothing would be sent; null = it would. */
export async function obstacleTo(
  { store, clock }: Deps,
  about: VisitContext,
  consents: readonly Consent[],
): Promise<Obstacle | null> {
  const { patient } = about
  const { channel, phone } = patient
  const refused = phone === '' ? null : ((await store.read.optOuts.get(phone))?.reason ?? null)
  return whyUnreachable({ ...about, refused, consents, channel, at: clock.now() })
}
