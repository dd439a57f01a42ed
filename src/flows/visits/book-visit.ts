import type { VisitContext } from '../visit-context.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { checkHistory } from '../../domain/preparation/cycle/check-history.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import { knownZone, toInstant, dateIn } from '../../domain/local-time.ts'
import { toE164 } from '../../domain/patients/phone.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import type { Channel, Detail } from '../../domain/messages/texts/kinds.ts'
import { refuseUnsendable } from '../messages/approved-texts.ts'
import { betterOpenings, judgeBooking } from './judge-booking.ts'
import { hasOtherVisitAt, protocolOf } from '../lookups.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { countedSince, keepPlan, planFor, whyUnreachable } from '../preparation/make-plan.ts'
import type { SendJob, Deps, Tx } from '../ports/deps.ts'
import { newBooking } from './new-booking.ts'
import { noteEvent } from './note-event.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { horizon, enqueueJobsSoon } from '../messages/enqueue-due.ts'

export interface BookingRequest {
  clinic?: string | undefined
  clinician?: string | undefined
  protocol: string
  /** Local time in `zone`, or an instant with offset. */
  visit: string
  /** Default: the clinic's. */
  zone?: string | undefined
  patient: { name: string; phone: string; language: string; channel: Channel; detail: Detail }
  /** Or how to read it, once today's date where she is is known. */
  cycle: CycleHistory | ((today: string) => CycleHistory)
  consent: { recordedBy: string; recordedAt?: string | undefined; wording?: string | undefined } | null
  /** Who is booking, for the trail. */
  by: string
}

export interface Booked {
  booking: Booking
  patient: Patient
  judgement: VisitJudgement
  openings: Slot[]
  plan: PrepPlan
}

/** `jobs` are to be set once the transaction is committed: see `setAlarmsSoon`. */
export type NewlyBooked = Booked & { jobs: SendJob[] }

const FURTHEST_MS = 2 * 366 * 86_400_000
const USUAL_WORDING = 'May we send you messages about this visit, to this number?'

/** Books a visit within a transaction. Nothing is kept when anything is wrong. @throws Failure */
export async function bookVisit(tx: Tx, deps: Deps, request: BookingRequest, known?: Clinic): Promise<NewlyBooked> {
  const clinic = known ?? (await clinicOf(tx, request.clinic))
  const zone = knownZone(request.zone ?? clinic.zone)
  const { clinician = '' } = request
  const asked = { ...request, clinicId: clinic.id, clinician, zone, visitAt: visitTime(deps, request.visit, zone), cycle: cycleOf(deps, request, zone) }
  protocolOf(deps, request.protocol)
  refuseUnsendable(deps.approvedTexts, request.patient.language)
  const id = deps.newId('b')
  const [{ patient, before, optOut, others }, free] = await Promise.all([patientOf(tx, deps, asked, clinic), takeTime(tx, deps, { ...asked, id })])
  const draft = draftOf(deps, { ...asked, id }, patient)
  if (before) await refuseSecondVisit(tx, draft)
  if (!free) throw timeTaken()
  const consents = before ? await tx.patients.consents(patient.id) : []
  const given = request.consent && consentOf(deps, patient, zone, request.consent)
  const unreachable = whyUnreachable(patient, optOut, given ? [...consents, given] : consents)
  const planned = planFor(deps, { booking: draft, patient, clinic }, { said: [], others, unreachable })
  const about = { booking: planned.booking, patient, clinic }
  if (before) await tx.patients.update(before.id, patient)
  else void tx.patients.insert(patient)
  void tx.bookings.insert(planned.booking)
  if (given) void tx.patients.addConsent(patient.id, given)
  const jobs = await keepPlan(tx, deps, { ...about, booking: draft }, planned, horizon(deps))
  void noteEvent(tx, deps, draft.id, 'booked', request.by)
  if (before) await followPatient(tx, deps, patient.id, { except: draft.id, cycleBefore: before.cycle })
  return { ...planned, jobs, patient, ...(await judged(tx, deps, about)) }
}

/** As `bookVisit`, and sets the jobs for what is due. */
export async function bookAndRing(deps: Deps, request: BookingRequest): Promise<Booked> {
  const booked = await deps.store.transact((tx) => bookVisit(tx, deps, request))
  enqueueJobsSoon(deps, booked.jobs)
  return booked
}

/** The booking before its plan is made. */
function draftOf(deps: Deps, { id, clinicId, clinician, protocol, visitAt, zone }: Omit<Parameters<typeof newBooking>[0], 'patientId' | 'createdAt'>, patient: Patient): Booking {
  return newBooking({ id, patientId: patient.id, clinicId, clinician, protocol, visitAt, zone, createdAt: deps.clock.now() })
}

async function judged(tx: Tx, deps: Deps, about: VisitContext) {
  const judgement = judgeBooking(deps, about.booking, about.patient.cycle)
  if (judgement.keep && !judgement.unsure) return { judgement, openings: [] }
  if (!judgement.keep) await openFollowUp(tx, deps, about, 'badly-timed', { why: judgement.reason })
  return { judgement, openings: await betterOpenings(tx, deps, about, false) }
}

/** The clinic of a request. @throws bad-input */
export async function clinicOf(tx: Tx, id: string | undefined): Promise<Clinic> {
  if (id !== undefined) return (await tx.clinics.get(id)) ?? badInput('clinic', 'There is no such clinic. GET /api/v1/clinics lists them.')
  const clinics = await tx.clinics.list()
  return clinics.length === 1 ? clinics[0]! : badInput('clinic', 'Say which clinic: there is more than one, or none yet.')
}

/** @throws bad-input for a time that does not exist, is past, or is too far off to mean anything. */
export function visitTime(deps: Deps, written: string, zone: string): Date {
  const visitAt = toInstant(written, zone, 'visit')
  const now = deps.clock.now().getTime()
  if (visitAt.getTime() <= now) badInput('visit', 'This visit is in the past. Give a time to come.')
  if (visitAt.getTime() > now + FURTHEST_MS) badInput('visit', 'This visit is more than two years away. Check the year.')
  return visitAt
}

/** Without these nothing can be forecast; the rest of a history is left out where it contradicts itself, and said so. */
const NEEDED: readonly string[] = ['lmp', 'startedOn', 'usualCycleDays']

function cycleOf(deps: Deps, { cycle: told }: BookingRequest, zone: string): CycleHistory {
  const today = dateIn(deps.clock.now(), zone)
  const cycle = typeof told === 'function' ? told(today) : told
  refuseFaults(cycle, today)
  return cycle
}

/** @throws bad-input with all faults of the cycle data that make it useless. */
export function refuseFaults(cycle: CycleHistory, today: string): void {
  if (cycle.status === 'no-periods') return
  const serious = checkHistory(cycle, today).filter(({ field }) => NEEDED.includes(field))
  const faults = serious.map(({ field, message }) => ({ field: `cycle.${field}`, message }))
  if (faults.length > 0) throw new Failure('bad-input', { ...faults[0]!, faults })
}

const spelled = (name: string) => name.normalize('NFKC').trim().replace(/\s+/g, ' ').toLocaleLowerCase()

/**
 * What this clinic knows of whoever is booked for. The same name at the same number is the same
 * patient; the number alone is not. It stays true until the visit is written down: the number, its
 * patients and their visits are locked, before the time is taken.
 */
async function patientOf(tx: Tx, deps: Deps, request: Pick<BookingRequest, 'patient'> & { cycle: CycleHistory }, clinic: Clinic) {
  const { name, phone, language, channel, detail } = request.patient
  const e164 = toE164(phone, clinic.country, 'patient.phone')
  const now = deps.clock.now()
  const [known, , optOut, others] = await Promise.all([
    tx.patients.lockAt(e164, clinic.id),
    tx.bookings.lockToCome({ phone: e164, clinicId: clinic.id }, now),
    tx.optOuts.get(e164),
    tx.messages.unsolicitedTo(e164, countedSince(now), null),
  ])
  const before = known.find((each) => spelled(each.name) === spelled(name))
  const cycle = before ? carriedOver(before.cycle, request.cycle) : request.cycle
  const told = { name: name.trim(), phone: e164, language, channel, detail, cycle }
  const patient: Patient = { ...before, id: before?.id ?? deps.newId('p'), clinicId: clinic.id, ...told }
  return { patient, before, optOut, others }
}

/** What an earlier booking knew of her past cycles is kept; the newest word on everything else counts. */
function carriedOver(before: CycleHistory, told: CycleHistory): CycleHistory {
  const { pastStarts = [], pastCycleDays, age, lmp } = before
  const starts = new Set([...pastStarts, ...(told.pastStarts ?? []), ...(lmp && told.lmp && lmp < told.lmp ? [lmp] : [])])
  const kept = { ...(pastCycleDays && { pastCycleDays }), ...(age !== undefined && { age }) }
  return { ...kept, ...told, ...(starts.size > 0 && { pastStarts: [...starts].sort() }) }
}

/** The patient's own double booking; another patient's is refused by the time itself. @throws already-booked */
export async function refuseSecondVisit(tx: Tx, booking: Booking): Promise<void> {
  if (!(await hasOtherVisitAt(tx, booking, booking.visitAt))) return
  throw new Failure('already-booked', { field: 'visit', message: 'The patient already has a visit at this time. Amend that booking instead.' })
}

/** Takes the time of a visit; false when somebody else has or holds it. */
export function takeTime(tx: Tx, deps: Deps, { id, clinicId, clinician, visitAt }: Pick<Booking, 'id' | 'clinicId' | 'clinician' | 'visitAt'>): Promise<boolean> {
  return tx.slots.take({ id: deps.newId('o'), clinicId, clinician, startsAt: visitAt }, id, deps.clock.now())
}

export const timeTaken = () => new Failure('time-taken', { field: 'visit', message: 'This time is booked or held for another patient. Choose another.' })

function consentOf(deps: Deps, patient: Patient, zone: string, consent: NonNullable<BookingRequest['consent']>): Consent {
  return {
    channel: patient.channel,
    recordedBy: consent.recordedBy,
    recordedAt: consent.recordedAt ? toInstant(consent.recordedAt, zone, 'consent.recordedAt') : deps.clock.now(),
    wording: consent.wording ?? USUAL_WORDING,
  }
}
