import type { Booking } from '../../domain/visits/booking.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { Failure } from '../../domain/failure.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import { dateIn, knownZone } from '../../domain/local-time.ts'
import { nextAllowed } from '../../domain/preparation/sending-hours.ts'
import { refuseUnsendable } from '../messages/approved-texts.ts'
import { refuseFaults, refuseSecondVisit, takeTime, timeTaken, visitTime, type Booked, type BookingRequest } from './book-visit.ts'
import { settleWaiting } from '../messages/settle-waiting.ts'
import { followPatient, lockVisits } from '../patients/follow-patient.ts'
import { betterOpenings, judgeBooking } from './judge-booking.ts'
import { orNotFound, protocolOf, loadVisit } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { supersedeOffer } from './move-visit.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newMessage } from '../messages/new-message.ts'
import { noteEvent } from './note-event.ts'
import { openFollowUp, settleFollowUps } from '../calls/follow-ups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

const DAY_MS = 86_400_000

/** What may change about a booking; what is missing stays. */
export interface Amendment {
  visit?: string | undefined
  zone?: string | undefined
  clinician?: string | undefined
  protocol?: string | undefined
  patient?: { [K in keyof BookingRequest['patient']]?: BookingRequest['patient'][K] | undefined } | undefined
  cycle?: CycleHistory | undefined
  consent?: BookingRequest['consent'] | undefined
  by: string
}

/**
 * Changes a booking and makes its plan anew; what changed about the patient is followed by all other visits too.
 * @throws not-found, too-late (cancelled), bad-input, time-taken, already-booked
 */
export async function amendBooking(deps: Deps, id: string, amendment: Amendment): Promise<Booked> {
  const booked = await deps.store.transact(async (tx) => {
    const before = await lockVisit(tx, deps, id)
    refuseCancelled(before.booking)
    const after = amended(deps, before, amendment)
    await tx.patients.update(after.patient.id, after.patient)
    await addConsent(tx, deps, after, amendment)
    const moves = timeChanged(before.booking, after.booking)
    if (moves) await changeTime(tx, deps, before.booking, after.booking)
    const { booking, plan, unreachable } = await makePlan(tx, deps, { ...after, confirm: !moves })
    await followPatient(tx, deps, after.patient.id, { except: id, cycleBefore: before.patient.cycle })
    if (moves && !unreachable) await tellMoved(tx, deps, { ...after, booking })
    await noteEvent(tx, deps, id, moves ? 'moved' : 'amended', amendment.by)
    const judgement = judgeBooking(deps, booking, after.patient.cycle)
    const openings = judgement.keep && !judgement.unsure ? [] : await betterOpenings(tx, deps, { ...after, booking }, false)
    return { booking, patient: after.patient, judgement, openings, plan }
  })
  await enqueueDue(deps)
  deps.notice('amended', { booking: id })
  return booked
}

/** The visit with the patient's others, all locked in one order. */
async function lockVisit(tx: Tx, deps: Deps, id: string): Promise<VisitContext> {
  const { patientId } = orNotFound(await tx.bookings.get(id), 'booking')
  await lockVisits(tx, deps, [patientId])
  return loadVisit(tx, await tx.bookings.lock(id))
}

function refuseCancelled({ state }: Booking): void {
  if (state === 'cancelled') throw new Failure('too-late', { message: 'This booking was cancelled. Book the visit again.' })
}

function timeChanged(a: Booking, b: Booking): boolean {
  return a.visitAt.getTime() !== b.visitAt.getTime() || a.clinician !== b.clinician
}

function amended(deps: Deps, { booking, patient, clinic }: VisitContext, amendment: Amendment): VisitContext {
  const zone = amendment.zone === undefined ? booking.zone : knownZone(amendment.zone)
  if (amendment.protocol !== undefined) protocolOf(deps, amendment.protocol)
  if (amendment.cycle) refuseFaults(amendment.cycle, dateIn(deps.clock.now(), zone))
  const { phone, ...person } = given(amendment.patient ?? {})
  const { language = patient.language } = person
  if (language !== patient.language) refuseUnsendable(deps.approvedTexts, language)
  return {
    clinic,
    patient: {
      ...patient,
      ...person,
      ...(phone !== undefined && { phone: toE164(phone, clinic.country, 'patient.phone') }),
      ...(amendment.cycle && { cycle: amendment.cycle }),
    },
    booking: {
      ...booking,
      zone,
      visitAt: amendment.visit === undefined ? booking.visitAt : visitTime(deps, amendment.visit, zone),
      clinician: amendment.clinician ?? booking.clinician,
      protocol: amendment.protocol ?? booking.protocol,
    },
  }
}

/** Only the fields that were given. */
function given<T extends object>(fields: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(fields).filter(([, value]) => value !== undefined)) as never
}

async function addConsent(tx: Tx, deps: Deps, { patient }: VisitContext, { consent }: Amendment): Promise<void> {
  if (!consent) return
  const { recordedBy, wording = 'Agreed when the booking was changed.' } = consent
  await tx.patients.addConsent(patient.id, { channel: patient.channel, recordedBy, recordedAt: deps.clock.now(), wording })
}

async function changeTime(tx: Tx, deps: Deps, before: Booking, after: Booking): Promise<void> {
  await refuseSecondVisit(tx, after)
  await supersedeOffer(tx, deps, before.id)
  await tx.slots.free(before.id, before.visitAt)
  if (!(await takeTime(tx, deps, after))) throw timeTaken()
  Object.assign(after, { confirmedAt: null, shortNotice: false, lapses: [] })
  await settleFollowUps(tx, deps, before.id, 'new-time', 'visit moved by the desk')
}

/** The desk moved the visit: the patient is told within sending hours, or by a person where there are none before the visit. */
async function tellMoved(tx: Tx, deps: Deps, { booking, patient, clinic }: VisitContext): Promise<void> {
  const sendAt = nextAllowed(deps.clock.now(), booking.zone, clinic.settings.hours)
  const notAfter = new Date(Math.min(sendAt.getTime() + DAY_MS, booking.visitAt.getTime()))
  if (sendAt >= notAfter) return openFollowUp(tx, deps, { booking, patient, clinic }, 'not-delivered', { kind: 'moved' })
  const facts = { kind: 'moved', sendAt, notAfter, unsolicited: false } as const
  await tx.messages.insert([newMessage(deps, { booking, patient, clinic }, facts)])
}

/** Cancels a booking: nothing more is sent about it and its time is free again. Cancelling twice is harmless. @throws not-found */
export async function cancelBooking(deps: Deps, id: string, by: string): Promise<Booking> {
  const cancelled = await deps.store.transact(async (tx) => {
    const { booking, patient, clinic } = await loadVisit(tx, await tx.bookings.lock(id))
    if (booking.state === 'cancelled') return booking
    await supersedeOffer(tx, deps, id)
    await tx.slots.free(id, booking.visitAt)
    await settleFollowUps(tx, deps, id, 'end-of-visit', 'visit cancelled')
    await noteEvent(tx, deps, id, 'cancelled', by)
    const off: Booking = { ...booking, state: 'cancelled' }
    const planned = await makePlan(tx, deps, { booking: off, patient, clinic })
    await settleWaiting(tx, deps, patient.id)
    return planned.booking
  })
  deps.notice('cancelled', { booking: id })
  return cancelled
}
