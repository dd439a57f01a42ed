import type { BookingRequest, NewlyBooked, Booked } from './booking-request.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { minutesOf, type Occupied } from '../../domain/visits/duration.ts'
import { refuseUnguarded } from '../../domain/patients/minors.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { checkHistory } from '../../domain/preparation/cycle/check-history.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import { hasCycles, isEligibilityOpen } from '../../domain/preparation/cycle/no-cycle.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import { knownZone, toInstant, dateIn } from '../../domain/local-time.ts'
import { refuseUnsendable } from '../messages/approved-texts.ts'
import { judgeBooking, type JudgedVisit } from './judge-booking.ts'
import { hasOtherVisitAt, knownProtocol } from '../lookups.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { consentOf, doubtOf } from '../patients/record-consent.ts'
import { keepPlan, planFor } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { needsCall } from '../../domain/preparation/cycle/move-rule.ts'
import { asks, callAboutTime } from './tell-timing.ts'
import { patientOf } from './whom-booked.ts'
import { newBooking } from './new-booking.ts'
import { noteEvent } from './note-event.ts'
import { withdrawCancelled } from './tell-cancelled.ts'
import { followEligibility } from '../calls/follow-eligibility.ts'
import { horizon, enqueueJobsSoon } from '../messages/enqueue-due.ts'

const FURTHEST_MS = 2 * 366 * 86_400_000

/** Books a visit within a transaction. Nothing is kept when anything is wrong. @throws Failure */
export async function bookVisit(tx: Tx, deps: Deps, request: BookingRequest, known?: Clinic): Promise<NewlyBooked> {
  const clinic = known ?? (await clinicOf(tx, request.clinic))
  const zone = knownZone(request.zone ?? clinic.zone)
  const { clinician = '', minutes: own, overbook = false } = request
  const { visitMinutes } = knownProtocol(deps, request.protocol)
  refuseUnknownHome(request.patient.zone)
  const asked = {
    ...request,
    clinicId: clinic.id,
    clinician,
    zone,
    purpose: request.purpose ?? 'routine',
    dueBy: request.dueBy ?? null,
    visitAt: visitTime(deps, request.visit, zone),
    minutes: minutesOf({ own, clinic: clinic.settings.visitMinutes, protocol: visitMinutes }),
    cycle: cycleOf(deps, request, zone),
  }
  refuseUnsendable(deps.approvedTexts, request.patient.language)
  const id = deps.newId('b')
  const [{ patient: whom, before, optOut, others }, free] = await Promise.all([
    patientOf(tx, deps, asked, clinic),
    takeTime(tx, deps, { ...asked, id }, overbook),
  ])
  refuseUnguarded(whom, dateIn(asked.visitAt, zone), clinic.settings.minors)
  const consents = before ? await tx.patients.consents(before.id) : []
  const patient = before ? { ...whom, handsDoubt: await doubtOf(tx, deps, whom, consents, clinic) } : whom
  const draft = { ...draftOf(deps, { ...asked, id }, patient), needs: before ? await needsOf(tx, before) : [] }
  if (before) await refuseSecondVisit(tx, draft)
  if (!free) throw timeTaken()
  const given = request.consent && consentOf(deps, patient, zone, request.consent)
  const circumstances = {
    said: [],
    others,
    refused: optOut?.reason ?? null,
    consents: given ? [...consents, given] : consents,
  }
  const planned = planFor(deps, { booking: draft, patient, clinic, notBefore: request.notBefore }, circumstances)
  const about = { booking: planned.booking, patient, clinic }
  if (before) await tx.patients.update(before.id, patient)
  else void tx.patients.insert(patient)
  void tx.bookings.insert(planned.booking)
  if (given) void tx.patients.addConsent(patient.id, given)
  if (isEligibilityOpen(patient.cycle)) await followEligibility(tx, deps, about)
  const jobs = await keepPlan(tx, deps, { ...about, booking: draft }, planned, horizon(deps))
  void noteEvent(tx, deps, draft.id, 'booked', request.by, request.note)
  if (before) await withdrawCancelled(tx, deps, patient.id, draft.visitAt)
  if (before) await followPatient(tx, deps, patient.id, { except: draft.id, cycleBefore: before.cycle })
  return { ...planned, jobs, patient, ...(await judged(tx, deps, about, planned.plan)) }
}

/** What the patient last needed is needed again, until somebody says otherwise. */
async function needsOf(tx: Tx, { id }: Patient): Promise<string[]> {
  const [latest] = await tx.bookings.list({ patientIds: [id], newestFirst: true, limit: 1 })
  return latest?.needs ?? []
}

/** As `bookVisit`, and sets the jobs for what is due. */
export async function bookAndRing(deps: Deps, request: BookingRequest): Promise<Booked> {
  return deps.traces.span('book visit', {}, async (note) => {
    const booked = await deps.store.transact((tx) => bookVisit(tx, deps, request))
    const { id, clinicId } = booked.booking
    note({ booking: id, clinic: clinicId })
    enqueueJobsSoon(deps, booked.jobs, id)
    return booked
  })
}

/** The booking before its plan is made. */
function draftOf(
  deps: Deps,
  asked: Omit<Required<Parameters<typeof newBooking>[0]>, 'patientId' | 'createdAt'>,
  { id: patientId }: Patient,
): Booking {
  const { id, clinicId, clinician, protocol, visitAt, minutes, zone, purpose, dueBy } = asked
  const facts = { clinicId, clinician, protocol, visitAt, minutes, zone, purpose, dueBy }
  return newBooking({ id, patientId, ...facts, createdAt: deps.clock.now() })
}

async function judged(tx: Tx, deps: Deps, about: VisitContext, plan: PrepPlan): Promise<JudgedVisit> {
  const judged = await judgeBooking(tx, deps, about)
  const { judgement } = judged
  if (needsCall(judgement, asks(plan.messages))) await callAboutTime(tx, deps, about, judgement)
  return judged
}

/** @throws bad-input for a zone that nobody knows. */
export function refuseUnknownHome(zone: string | undefined): void {
  if (zone !== undefined) knownZone(zone, 'patient.zone')
}

/** The clinic of a request. @throws bad-input */
export async function clinicOf(tx: Tx, id: string | undefined): Promise<Clinic> {
  if (id !== undefined)
    return (await tx.clinics.get(id)) ?? badInput('clinic', 'There is no such clinic. GET /api/v1/clinics lists them.')
  const clinics = await tx.clinics.list()
  return clinics.length === 1
    ? clinics[0]!
    : badInput('clinic', 'Say which clinic: there is more than one, or none yet.')
}

/** @throws bad-input for a time that does not exist, is past, or is too far off to mean anything. */
export function visitTime(deps: Deps, written: string, zone: string): Date {
  const visitAt = toInstant(written, zone, 'visit')
  const now = deps.clock.now().getTime()
  if (visitAt.getTime() <= now) badInput('visit', 'This visit is in the past. Give a time to come.')
  if (visitAt.getTime() > now + FURTHEST_MS)
    badInput('visit', 'This visit is more than two years away. Check the year.')
  return visitAt
}

/**
 * Without these nothing can be forecast; the rest of a history is left out where it contradicts itself, and said so.
 */
const NEEDED: readonly string[] = ['lmp', 'startedOn', 'usualCycleDays']

function cycleOf(deps: Deps, { cycle: told }: BookingRequest, zone: string): CycleHistory {
  const today = dateIn(deps.clock.now(), zone)
  const cycle = typeof told === 'function' ? told(today) : told
  refuseFaults(cycle, today)
  return cycle
}

/** @throws bad-input with all faults of the cycle data that make it useless. */
export function refuseFaults(cycle: CycleHistory, today: string): void {
  if (!hasCycles(cycle)) return
  const serious = checkHistory(cycle, today).filter(({ field, doubt }) => !doubt && NEEDED.includes(field))
  const faults = serious.map(({ field, message }) => ({ field: `cycle.${field}`, message }))
  if (faults.length > 0) throw new Failure('bad-input', { ...faults[0]!, faults })
}

/** The patient's own double booking; another patient's is refused by the time itself. @throws already-booked */
export async function refuseSecondVisit(tx: Tx, booking: Booking): Promise<void> {
  if (!(await hasOtherVisitAt(tx, booking))) return
  throw new Failure('already-booked', {
    field: 'visit',
    message: 'The patient already has a visit at this time. Amend that booking instead.',
  })
}

/**
 * Takes the time of a visit; false when somebody else has or holds it, or when the clinician is busy with somebody else
 * for some of it.
 * @param overbook then it is taken beside them
 */
export async function takeTime(
  tx: Tx,
  deps: Deps,
  { id, clinicId, clinician, visitAt, minutes }: Occupied,
  overbook: boolean,
): Promise<boolean> {
  const time = { id: deps.newId('o'), clinicId, clinician, startsAt: visitAt }
  const taken = await tx.slots.take(time, { id, minutes }, deps.clock.now())
  if (!taken && overbook) await tx.slots.takeBeside(time, { id, minutes })
  return taken || overbook
}

export const timeTaken = () =>
  new Failure('time-taken', {
    field: 'visit',
    message:
      'For some of this time the clinician is busy with another patient, or it is held for one. Choose another time, ' +
      'or overbook it on purpose.',
  })
