import { Failure } from '../../domain/failure.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { samePerson } from '../../domain/patients/same-person.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import type { OurVisit } from '../../domain/schedule/our-visit.ts'
import type { SendJob } from '../ports/jobs.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { orNotFound } from '../lookups.ts'
import { followPatient, lockVisits } from '../patients/follow-patient.ts'
import { amendWithin, cancelWithin } from '../visits/amend-booking.ts'
import { bookVisit, clinicOf } from '../visits/book-visit.ts'
import { recordOutcomeWithin } from '../visits/record-outcome.ts'
import { amendmentOf, byFeed, requestOf } from './visit-requests.ts'

/** A visit of theirs that is another here from now on. */
export interface Change {
  /** As it was last carried out; undefined = not booked here. */
  was: OurVisit | undefined
  /** Null = booked here no more. */
  is: OurVisit | null
  bookingId: string | undefined
  didNotCome: boolean
}

export interface CarriedOut {
  /** Undefined = it is no booking here any more. */
  bookingId: string | undefined
  jobs: SendJob[]
}

/**
 * Makes one visit here what it is with them.
 * @throws Failure where that cannot be: nothing of the transaction may be kept then
 */
export async function carryOut(tx: Tx, deps: Deps, feed: Feed, change: Change): Promise<CarriedOut> {
  const { was, is, bookingId } = change
  const notBefore = new Date(deps.clock.now().getTime() + feed.settleMinutes * 60_000)
  if (!is) return end(tx, deps, feed, change, notBefore)
  if (!was || bookingId === undefined) return book(tx, deps, feed, is, notBefore)
  if (was.clinic !== is.clinic) {
    // Each clinic has its own record of a patient.
    await cancelWithin(tx, deps, bookingId, { by: byFeed(feed), notBefore })
    return book(tx, deps, feed, is, notBefore)
  }
  const { patientId } = orNotFound(await tx.bookings.get(bookingId), 'booking')
  const patient = orNotFound(await tx.patients.get(patientId), 'patient')
  const { consent, ...amendment } = amendmentOf(was, is, feed, patient.cycle, notBefore)
  const counts = consent !== undefined && (await countsFor(tx, patient))
  await amendWithin(tx, deps, bookingId, { ...amendment, ...(counts && { consent }) })
  await followTold(tx, deps, patientId, was, is)
  return { bookingId, jobs: [] }
}

async function book(tx: Tx, deps: Deps, feed: Feed, visit: OurVisit, notBefore: Date): Promise<CarriedOut> {
  const request = requestOf(visit, feed, notBefore)
  const clinic = await clinicOf(tx, visit.clinic)
  const same = await knownHere(tx, clinic, visit)
  const before = same && (await bookedBefore(tx, same, visit))
  if (before) return { bookingId: before.id, jobs: [] }
  const consent = same && !(await countsFor(tx, same)) ? null : request.consent
  const { booking, jobs } = await bookVisit(tx, deps, { ...request, consent }, clinic)
  return { bookingId: booking.id, jobs }
}

/**
 * Whether it counts when a schedule says that this patient agrees. A box that was once ticked there knows nothing of
 * what was withdrawn here since, nor that the number may be another person's by now: then a person asks.
 */
async function countsFor(tx: Tx, { id, handsDoubt }: Patient): Promise<boolean> {
  if (handsDoubt || (await tx.patients.consents(id)).length > 0) return false
  return !(await tx.patients.hasWithdrawn(id))
}

/** Whom the clinic knows as this patient. */
async function knownHere(tx: Tx, clinic: Clinic, { patient }: OurVisit): Promise<Patient | undefined> {
  const there = await tx.patients.lockAt(toE164(patient.phone, clinic.country, 'patient.phone'), clinic.id)
  const { name, birthDate, ownNumber } = patient
  const second = { ...(birthDate !== null && { birthDate }), ...(ownNumber !== null && { ownNumber }) }
  return samePerson(there, { name, ...second })
}

/** Somebody typed it in before the schedule told of it. */
async function bookedBefore(tx: Tx, { id }: Patient, { startsAt }: OurVisit): Promise<Booking | undefined> {
  const to = new Date(startsAt.getTime() + 1)
  const [booked] = await tx.bookings.list({
    ...{ patientIds: [id], from: startsAt, to, state: 'booked', limit: 1 },
  })
  return booked
}

async function end(
  tx: Tx,
  deps: Deps,
  feed: Feed,
  { bookingId, didNotCome }: Change,
  notBefore: Date,
): Promise<CarriedOut> {
  if (bookingId === undefined) return { bookingId, jobs: [] }
  if (didNotCome) await recordOutcomeWithin(tx, deps, bookingId, { kind: 'absent', because: null, by: byFeed(feed) })
  else await cancelUnlessOver(tx, deps, bookingId, byFeed(feed), notBefore)
  // Of one that did not come the booking stays what it was.
  return { bookingId: didNotCome ? bookingId : undefined, jobs: [] }
}

/** A visit that is over cannot be cancelled, and needs not be. */
async function cancelUnlessOver(tx: Tx, deps: Deps, id: string, by: string, notBefore: Date): Promise<void> {
  const { visitAt, outcome } = orNotFound(await tx.bookings.get(id), 'booking')
  if (visitAt <= deps.clock.now() || outcome !== null) return
  await cancelWithin(tx, deps, id, { by, notBefore })
}

/** That the patient has died, or agrees no more. */
async function followTold(tx: Tx, deps: Deps, patientId: string, was: OurVisit, is: OurVisit): Promise<void> {
  const died = was.patient.died !== is.patient.died
  const withdrawn = was.consent && !is.consent
  if (!died && !withdrawn) return
  await lockVisits(tx, deps, [patientId])
  if (died) await tx.patients.update(patientId, { reportedDead: is.patient.died })
  if (withdrawn) await tx.patients.withdrawConsents(patientId, null, deps.clock.now())
  await followPatient(tx, deps, patientId)
}

/** In words for a person at the desk, of a failure that a change met. */
export function whyNot(error: unknown): string {
  if (!(error instanceof Failure)) throw error
  return error.detail.faults?.map(({ message }) => message).join(' ') ?? error.detail.message
}
