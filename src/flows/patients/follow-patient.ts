import type { Booking } from '../../domain/visits/booking.ts'
import { orNotFound } from '../lookups.ts'
import { settleWaiting } from '../messages/settle-waiting.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { tellTiming } from '../visits/tell-timing.ts'
import { makePlan, type ToPlan } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'

export interface Following {
  /** A visit that the caller plans itself. */
  except?: string
  /** False where another text already says what a confirmation would. */
  confirm?: boolean
  because?: ToPlan['because']
  /** What was known of the cycle until now, where that is what changed. */
  cycleBefore?: CycleHistory
}

/**
 * What changed about a patient is followed by everything that is still to be said: each visit to
 * come is planned anew, and whatever else waits goes to where the patient is reached now. Where
 * nobody may write any more, a person calls. The patient is read once nobody else can change it.
 * @returns the visits as they are with their new plans
 * @throws not-found
 */
export async function followPatient(
  tx: Tx,
  deps: Deps,
  patientId: string,
  { except, cycleBefore, ...how }: Following = {},
): Promise<Booking[]> {
  const locked = await lockVisits(tx, deps, [patientId])
  const patient = orNotFound(await tx.patients.get(patientId), 'patient')
  const clinic = orNotFound(await tx.clinics.get(patient.clinicId), 'clinic')
  const visits: Booking[] = []
  for (const booking of locked.filter(({ id }) => id !== except)) {
    const planned = await makePlan(tx, deps, { booking, patient, clinic, ...how })
    visits.push(planned.booking)
    if (!cycleBefore) continue
    const about = { booking: planned.booking, patient, clinic }
    await tellTiming(tx, deps, about, { plan: planned.plan, before: cycleBefore })
  }
  await settleWaiting(tx, deps, patientId)
  return visits
}

/**
 * Locks these patients, then their visits to come. Whoever changes either does this first, so that
 * what is read afterwards stays true, and nobody waits in a circle: a number is locked before its
 * patients, patients before visits, each by id, visits before times.
 * @returns the visits, by id
 */
export async function lockVisits(
  tx: Tx,
  deps: Deps,
  patientIds: readonly string[],
  from = deps.clock.now(),
): Promise<Booking[]> {
  if (patientIds.length === 0) return []
  const [, visits] = await Promise.all([tx.patients.lock(patientIds), tx.bookings.lockToCome({ patientIds }, from)])
  return visits
}
