import { DOUBTED } from '../../domain/patients/changed-hands.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { isOver } from '../../domain/visits/over.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { noteEvent } from '../visits/note-event.ts'
import { followPatient, lockVisits } from './follow-patient.ts'
import { consentOf, unsettledDoubt } from './record-consent.ts'

/** Why a consent is not recorded together with others: each is for a person to look at. */
export const NOT_RECORDED = ['doubted', 'opted-out', 'over'] as const
export type NotRecorded = (typeof NOT_RECORDED)[number]

/** What came of it, patient by patient, by id. */
export interface ManyConsents {
  recorded: string[]
  refused: { patientId: string; why: NotRecorded }[]
}

/** A visit of a list whose patient has agreed elsewhere. */
type Agreed = Pick<Booking, 'id' | 'patientId'>

/**
 * Records that the patients of these visits have agreed, each in a transaction of its own and once, whichever of their
 * visits were chosen. Whether it counts is asked of each patient as it is now, not of what a list said when it was
 * made.
 * @param told in which words they were asked, and who says so
 */
export async function recordConsentOfMany(
  deps: Deps,
  visits: readonly Agreed[],
  told: { wording: string; by: string },
): Promise<ManyConsents> {
  const done: ManyConsents = { recorded: [], refused: [] }
  for (const patientId of new Set(visits.map((visit) => visit.patientId))) {
    const ids = visits.filter((visit) => visit.patientId === patientId).map(({ id }) => id)
    const why = await deps.store.transact((tx) => recordOf(tx, deps, patientId, ids, told))
    if (why === null) done.recorded.push(patientId)
    else done.refused.push({ patientId, why })
  }
  await enqueueDue(deps)
  deps.notice('consents-recorded', {})
  return done
}

/** @returns why it is not recorded; null = it is */
async function recordOf(
  tx: Tx,
  deps: Deps,
  patientId: string,
  visitIds: readonly string[],
  { wording, by }: { wording: string; by: string },
): Promise<NotRecorded | null> {
  await lockVisits(tx, deps, [patientId])
  const visit = await firstToCome(tx, deps, visitIds)
  if (!visit) return 'over'
  const patient = orNotFound(await tx.patients.get(patientId), 'patient')
  const clinic = orNotFound(await tx.clinics.get(patient.clinicId), 'clinic')
  if (await tx.optOuts.has(patient.phone)) return 'opted-out'
  const handsDoubt = await unsettledDoubt(tx, deps, patient, await tx.patients.consents(patientId), clinic)
  if (handsDoubt) {
    await tx.patients.update(patientId, { handsDoubt })
    await followPatient(tx, deps, patientId)
    await sayDoubted(tx, visitIds)
    return 'doubted'
  }
  await tx.patients.addConsent(patientId, consentOf(deps, patient, visit.zone, { recordedBy: by, wording }))
  await makePlan(tx, deps, { booking: visit, patient, clinic })
  await followPatient(tx, deps, patientId, { except: visit.id })
  await noteEvent(tx, deps, visit.id, 'amended', by)
  return null
}

/** The call was opened for another reason, perhaps: whoever makes it must ask whose the number is first. */
async function sayDoubted(tx: Tx, bookingIds: readonly string[]): Promise<void> {
  const about = { bookingIds: [...bookingIds], reasons: ['no-consent' as const], open: true, limit: bookingIds.length }
  for (const call of await tx.followUps.list(about))
    await tx.followUps.update({ ...call, detail: { ...call.detail, why: DOUBTED } })
}

/** None where all are over, cancelled or gone; a visit that has begun may be mended until its day is over. */
async function firstToCome(tx: Tx, deps: Deps, ids: readonly string[]): Promise<Booking | undefined> {
  for (const id of [...ids].sort()) {
    const visit = await tx.bookings.lock(id)
    if (visit?.state === 'booked' && !isOver(visit, deps.clock.now())) return visit
  }
  return undefined
}
