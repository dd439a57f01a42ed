import type { Booking } from '../../domain/visits/booking.ts'
import type { Purpose } from '../../domain/visits/purpose.ts'
import type { CalendarDate, CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import { Failure } from '../../domain/failure.ts'
import { atNewNumber, howReached } from '../../domain/patients/how-reached.ts'
import { refuseUnguarded } from '../../domain/patients/minors.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import { dateIn, knownZone } from '../../domain/local-time.ts'
import { refuseUnsendable } from '../messages/approved-texts.ts'
import { refuseFaults, refuseSecondVisit, refuseUnknownHome, takeTime, timeTaken, visitTime } from './book-visit.ts'
import type { Booked, BookingRequest, ToldConsent } from './booking-request.ts'
import { settleWaiting } from '../messages/settle-waiting.ts'
import { followPatient, lockVisits } from '../patients/follow-patient.ts'
import { consentOf, doubtOf } from '../patients/record-consent.ts'
import { judgeBooking } from './judge-booking.ts'
import { needsCall } from '../../domain/preparation/cycle/move-rule.ts'
import { asks, callAboutTime, noLongerBad } from './tell-timing.ts'
import { knownProtocol, orNotFound, loadVisit } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { latestBetter } from '../../domain/visits/move-limit.ts'
import { refuseOver } from '../../domain/visits/over.ts'
import { holdAnew, leaveMoveToDesk, supersedeOffer } from './offer-openings.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { noteEvent } from './note-event.ts'
import { refuseChanged } from './refuse-changed.ts'
import { tellCancelled, withdrawCancelled } from './tell-cancelled.ts'
import { tellMoved } from './tell-moved.ts'
import { settleFollowUps } from '../calls/follow-ups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

/** What may change about a booking; what is missing stays. */
export interface Amendment {
  visit?: string | undefined
  minutes?: number | undefined
  /** The new time is booked on purpose though somebody else is there. */
  overbook?: boolean | undefined
  zone?: string | undefined
  clinician?: string | undefined
  protocol?: string | undefined
  patient?: { [K in keyof BookingRequest['patient']]?: BookingRequest['patient'][K] | undefined } | undefined
  purpose?: Purpose | undefined
  dueBy?: CalendarDate | null | undefined
  cycle?: CycleHistory | undefined
  consent?: ToldConsent | undefined
  /** Nothing is sent earlier: a schedule may change it again within minutes. */
  notBefore?: Date | undefined
  /** What was seen of it, by `versionOf`: refused where somebody has changed it since. */
  seen?: number | undefined
  by: string
}

/**
 * Changes a booking and makes its plan anew; what changed about the patient is followed by all other visits too.
 * @throws not-found, too-late (cancelled, over), changed, bad-input, time-taken, already-booked
 */
export async function amendBooking(deps: Deps, id: string, amendment: Amendment): Promise<Booked> {
  const booked = await deps.store.transact((tx) => amendWithin(tx, deps, id, amendment))
  await enqueueDue(deps)
  deps.notice('amended', { booking: id })
  return booked
}

/** As `amendBooking`, within a transaction; messages that are due are enqueued by whoever commits it. */
export async function amendWithin(tx: Tx, deps: Deps, id: string, amendment: Amendment): Promise<Booked> {
  const before = await lockVisit(tx, deps, id)
  refuseCancelled(before.booking)
  refuseOver(before.booking, deps.clock.now())
  await refuseChanged(tx, id, amendment.seen)
  const after = await doubted(tx, deps, amended(deps, before, amendment))
  await tx.patients.update(after.patient.id, after.patient)
  await addConsent(tx, deps, after, amendment)
  const moves = timeChanged(before.booking, after.booking)
  const lasts = after.booking.minutes !== before.booking.minutes
  if (moves || lasts) await retake(tx, deps, before, after, amendment)
  if (moves) await leaveOldTime(tx, deps, after.booking)
  else await endOfferBeyond(tx, deps, after)
  if (lasts) await holdAnew(tx, deps, after)
  const { notBefore } = amendment
  const { booking, plan, unreachable } = await makePlan(tx, deps, { ...after, confirm: !moves, notBefore })
  await followPatient(tx, deps, after.patient.id, { except: id, cycleBefore: before.patient.cycle })
  if (moves && !unreachable) await tellMoved(tx, deps, { ...after, booking }, notBefore)
  await noteEvent(tx, deps, id, moves ? 'moved' : 'amended', amendment.by)
  const judged = await judgeBooking(tx, deps, { ...after, booking })
  await followTiming(tx, deps, { ...after, booking }, judged.judgement, plan)
  return { booking, patient: after.patient, ...judged, plan }
}

/** The desk has just been told how the visit is timed: it is called about only where it stays so. */
async function followTiming(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  judgement: VisitJudgement,
  plan: PrepPlan,
): Promise<void> {
  if (!judgement.worthACall) return noLongerBad(tx, deps, about.booking.id)
  if (needsCall(judgement, asks(plan.messages))) await callAboutTime(tx, deps, about, judgement)
}

/** Times that were offered while the visit might be put off are on offer no more once it may not. */
async function endOfferBeyond(tx: Tx, deps: Deps, about: VisitContext): Promise<void> {
  const latest = latestBetter(about.booking)
  const offer = latest && (await tx.offers.pending(about.booking.id))
  if (!offer || offer.choices.every(({ at }) => at <= latest)) return
  await supersedeOffer(tx, deps, about.booking.id)
  await leaveMoveToDesk(tx, deps, about, offer.reason)
}

/** The visit with the patient's others, all locked in one order. */
async function lockVisit(tx: Tx, deps: Deps, id: string): Promise<VisitContext> {
  const { patientId } = orNotFound(await tx.bookings.get(id), 'booking')
  await lockVisits(tx, deps, [patientId])
  return loadVisit(tx, await tx.bookings.lock(id))
}

function refuseCancelled({ state }: Booking): void {
  if (state === 'cancelled')
    throw new Failure('too-late', { message: 'This booking was cancelled. Book the visit again.' })
}

function timeChanged(a: Booking, b: Booking): boolean {
  return a.visitAt.getTime() !== b.visitAt.getTime() || a.clinician !== b.clinician
}

function amended(deps: Deps, { booking, patient, clinic }: VisitContext, amendment: Amendment): VisitContext {
  const zone = amendment.zone === undefined ? booking.zone : knownZone(amendment.zone)
  if (amendment.protocol !== undefined) knownProtocol(deps, amendment.protocol)
  if (amendment.cycle) refuseFaults(amendment.cycle, dateIn(deps.clock.now(), zone))
  const { phone, channel, detail, reach, email, receiver, ...person } = given(amendment.patient ?? {})
  const number = phone === undefined ? patient.phone : toE164(phone, clinic.country, 'patient.phone')
  const known = number === patient.phone ? patient : atNewNumber(patient, number, deps.clock.now())
  const { language = patient.language } = person
  refuseUnknownHome(person.zone)
  if (language !== patient.language) refuseUnsendable(deps.approvedTexts, language)
  const after = {
    clinic,
    patient: {
      ...known,
      ...person,
      ...howReached(known, { channel, detail, reach, email, receiver }, deps.clock.now()),
      ...(amendment.cycle && { cycle: amendment.cycle }),
    },
    booking: {
      ...booking,
      zone,
      visitAt: amendment.visit === undefined ? booking.visitAt : visitTime(deps, amendment.visit, zone),
      minutes: amendment.minutes ?? booking.minutes,
      clinician: amendment.clinician ?? booking.clinician,
      protocol: amendment.protocol ?? booking.protocol,
      purpose: amendment.purpose ?? booking.purpose,
      dueBy: amendment.dueBy === undefined ? booking.dueBy : amendment.dueBy,
    },
  }
  // Whatever else is amended, the plan puts a minor without a guardian on the call list.
  if (person.birthDate !== undefined || receiver !== undefined)
    refuseUnguarded(after.patient, dateIn(after.booking.visitAt, zone), clinic.settings.minors)
  return after
}

/** Whether the number may have changed hands is looked at before consent is recorded anew. */
async function doubted(tx: Tx, deps: Deps, about: VisitContext): Promise<VisitContext> {
  const { patient, clinic } = about
  const handsDoubt = await doubtOf(tx, deps, patient, await tx.patients.consents(patient.id), clinic)
  return { ...about, patient: { ...patient, handsDoubt } }
}

/** Only the fields that were given. */
function given<T extends object>(fields: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(fields).filter(([, value]) => value !== undefined)) as never
}

async function addConsent(tx: Tx, deps: Deps, about: VisitContext, { consent }: Amendment): Promise<void> {
  if (!consent) return
  const { patient, booking } = about
  const told = { ...consent, wording: consent.wording ?? 'Agreed when the booking was changed.' }
  await tx.patients.addConsent(patient.id, consentOf(deps, patient, booking.zone, told))
}

/**
 * Gives back the time that the visit had, and takes the one that it has now, or as much of it. What takes less of a
 * time that was overbooked is no new claim.
 * @throws time-taken
 */
async function retake(
  tx: Tx,
  deps: Deps,
  { booking: before }: VisitContext,
  { booking: after }: VisitContext,
  { overbook = false }: Amendment,
): Promise<void> {
  await refuseSecondVisit(tx, after)
  const isLess = !timeChanged(before, after) && after.minutes < before.minutes
  await tx.slots.free(before.id, before.visitAt)
  if (!(await takeTime(tx, deps, after, overbook || isLess))) throw timeTaken()
}

/** What was said and asked about another time holds no more. */
async function leaveOldTime(tx: Tx, deps: Deps, booking: Booking): Promise<void> {
  await supersedeOffer(tx, deps, booking.id)
  Object.assign(booking, { confirmedAt: null, shortNotice: false, lapses: [], outcome: null })
  await settleFollowUps(tx, deps, booking.id, 'new-time', 'visit moved by the desk')
  await withdrawCancelled(tx, deps, booking.patientId, booking.visitAt)
}

/**
 * Cancels a booking: its time is free again, and the patient is told that, and nothing more. Cancelling twice is
 * harmless.
 * @throws not-found, too-late (over)
 */
export async function cancelBooking(deps: Deps, id: string, by: string, seen?: number): Promise<Booking> {
  const cancelled = await deps.store.transact((tx) => cancelWithin(tx, deps, id, { by, seen }))
  await enqueueDue(deps)
  deps.notice('cancelled', { booking: id })
  return cancelled
}

/** As `cancelBooking`, within a transaction; messages that are due are enqueued by whoever commits it. */
export async function cancelWithin(
  tx: Tx,
  deps: Deps,
  id: string,
  { by, seen, notBefore }: Pick<Amendment, 'by' | 'seen' | 'notBefore'>,
): Promise<Booking> {
  const { booking, patient, clinic } = await loadVisit(tx, await tx.bookings.lock(id))
  if (booking.state === 'cancelled') return booking
  await refuseChanged(tx, id, seen)
  refuseOver(booking, deps.clock.now())
  await supersedeOffer(tx, deps, id)
  await tx.slots.free(id, booking.visitAt)
  await settleFollowUps(tx, deps, id, 'end-of-visit', 'visit cancelled')
  await noteEvent(tx, deps, id, 'cancelled', by)
  const off: Booking = { ...booking, state: 'cancelled' }
  const planned = await makePlan(tx, deps, { booking: off, patient, clinic })
  await settleWaiting(tx, deps, patient.id)
  await tellCancelled(tx, deps, { booking: planned.booking, patient, clinic }, notBefore)
  return planned.booking
}
