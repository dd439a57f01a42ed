import type { Booking } from '../../domain/visits/booking.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { cycleCheckDate } from '../../domain/preparation/cycle/cycle-check.ts'
import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import {
  SENT_STATES,
  UNSENT,
  type Message,
  type MessageState,
} from '../../domain/messages/message.ts'
import { isPreparation } from '../../domain/messages/still-right.ts'
import { planMessages, type PlanInput, type PrepPlan } from '../../domain/preparation/plan.ts'
import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import { isTo, isTold, notReachedBy } from '../../domain/preparation/prep-status.ts'
import { dateIn } from '../../domain/local-time.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { protocolOf } from '../lookups.ts'
import type { SendJob, Deps, OptOut, Tx } from '../ports/deps.ts'
import { closeFollowUps, openFollowUp } from '../calls/follow-ups.ts'
import { newMessage } from '../messages/new-message.ts'

const WEEK_MS = 7 * 86_400_000

export interface Planned {
  booking: Booking
  plan: PrepPlan
  /** Why nobody tells the patient; null where the messages of the plan do. */
  unreachable: Unreachable | null
}

/** Whose visit is planned. `confirm` false where another text (the answer `moved`) already tells the time. */
export interface ToPlan {
  booking: Booking
  patient: Patient
  clinic: Clinic
  confirm?: boolean
  /** What the desk should read beside a call that this plan opens, e.g. the patient's words. */
  because?: Record<string, unknown> | undefined
}

/** Why a patient may not be written to. Each is a call that somebody must make. */
export type Unreachable = Extract<FollowUpReason, 'died' | 'wrong-person' | 'opted-out' | 'no-consent'>

/** Calls that end by themselves once the patient may be written to again. */
export const UNREACHABLE: ReadonlySet<FollowUpReason> = new Set<Unreachable>(['died', 'wrong-person', 'opted-out', 'no-consent'])

/** What else decides about a plan. */
export interface Circumstances {
  /** Messages about this visit so far. */
  said: Message[]
  /** Instants of unsolicited messages to the patient's number, other than this plan's own. */
  others: Date[]
  unreachable: Unreachable | null
}

/** From when on messages to a number count against the caps. */
export const countedSince = (now: Date): Date => new Date(now.getTime() - WEEK_MS)

/**
 * Makes the plan for a visit anew: withdraws what is unsent, plans what is still worth saying, tells the desk what
 * cannot be kept. Called whenever time, dates, language, number, consent or protocol change.
 */
export async function makePlan(tx: Tx, deps: Deps, about: ToPlan): Promise<Planned> {
  const { booking: before, patient } = about
  const now = deps.clock.now()
  // First: what is just being claimed is waited for here, and then read as on its way.
  await tx.messages.withdrawUnsent({ plan: before.id }, 'plan-revised', now)
  const [said, others, unreachable] = await Promise.all([
    tx.messages.ofBooking(before.id),
    tx.messages.unsolicitedTo(patient.phone, countedSince(now), before.id),
    unreachableBy(tx, patient),
  ])
  const planned = planFor(deps, about, { said, others, unreachable })
  await tx.bookings.update(planned.booking)
  await keepPlan(tx, deps, about, planned)
  await callForLost(tx, deps, about, said, planned)
  const isSettled = ({ reason }: { reason: FollowUpReason }) => UNREACHABLE.has(reason) && reason !== unreachable
  await closeFollowUps(tx, deps, before.id, isSettled, 'the patient may be written to')
  return planned
}

/** Why this patient may not be written to by the usual channel; null = may. */
export async function unreachableBy(tx: Tx, patient: Patient): Promise<Unreachable | null> {
  const [optOut, consents] = await Promise.all([tx.optOuts.get(patient.phone), tx.patients.consents(patient.id)])
  return whyUnreachable(patient, optOut, consents)
}

export function whyUnreachable(patient: Patient, optOut: OptOut | undefined, consents: readonly Consent[]): Unreachable | null {
  if (patient.reportedDead) return 'died'
  if (optOut) return optOut.reason === 'wrong-person' ? 'wrong-person' : 'opted-out'
  return consents.some(({ channel }) => channel === patient.channel) ? null : 'no-consent'
}

/** What a visit's plan would be now, and the booking as it stands with it. Nothing is written. */
export function planFor(deps: Deps, about: ToPlan, circumstances: Circumstances): Planned {
  const { booking } = about
  const protocol = protocolOf(deps, booking.protocol)
  const plan = planned(deps, about, protocol, circumstances)
  const shortNotice = plan.warnings.some(({ code }) => code === 'short-notice')
  const next = { ...booking, planRevision: booking.planRevision + 1, planBasis: protocol.digest, shortNotice }
  return { booking: next, plan, unreachable: circumstances.unreachable }
}

function planned(deps: Deps, about: ToPlan, protocol: FullProtocol, { said, others, unreachable }: Circumstances): PrepPlan {
  const { booking, patient, clinic, confirm = true } = about
  const { visitAt: visit, zone } = booking
  const now = deps.clock.now()
  if (booking.state === 'cancelled' || visit <= now) return { messages: [], warnings: [] }
  if (unreachable) return nobodyTells(unreachable, isTold(booking, protocol, said, patient.phone))
  const ask = question(patient, booking, protocol, now)
  const done = kindsSaid(said, booking, patient, confirm)
  return planMessages({ visit, zone, now, hours: clinic.settings.hours, prepHours: protocol.prepHours, ask, done, others })
}

/** Whoever was told and then wants no more messages needs no call. What was told to somebody else was not told. */
function nobodyTells(why: Unreachable, told: boolean): PrepPlan {
  if (told && (why === 'opted-out' || why === 'no-consent')) return { messages: [], warnings: [] }
  const message = 'Nobody tells this patient by message: it is on the call list.'
  return { messages: [], warnings: [{ code: 'nobody-tells', kind: 'prep', message }] }
}

/**
 * Writes down a plan's messages, and tells the desk what cannot be kept.
 * @param ringing messages due before this instant are marked as queued at once
 * @returns their jobs, to be enqueued once the transaction is committed
 */
export async function keepPlan(tx: Tx, deps: Deps, about: ToPlan, planned: Planned, ringing?: Date): Promise<SendJob[]> {
  const { patient, clinic } = about
  const { booking, plan } = planned
  const state = ({ sendAt }: { sendAt: Date }) => (ringing && sendAt < ringing ? 'queued' : 'planned')
  const messages = plan.messages.map((each) => newMessage(deps, { clinic, patient, booking }, { ...each, revision: booking.planRevision, state: state(each) }))
  await tx.messages.insert(messages)
  await tellDesk(tx, deps, about, planned)
  return messages.filter((each) => each.state === 'queued').map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt }))
}

/** What Daysix would like to ask before the visit, and when; null = nothing. */
export function question(patient: Patient, booking: Booking, protocol: FullProtocol, now: Date): PlanInput['ask'] {
  const { cycle } = patient
  if (cycle.status === 'no-periods' || protocol.avoidDays === null) return null
  if (cycle.status === 'unknown' && !cycle.lmp) return { kind: 'lmp-question' }
  const on = cycleCheckDate({ history: cycle, visit: dateIn(booking.visitAt, booking.zone), asOf: dateIn(now, booking.zone), protocol })
  return on === null ? null : { kind: 'cycle-check', on }
}

/**
 * What has been said, and what waits still when the plan of before is withdrawn: fall-backs, and what
 * came back from its gateway in between.
 */
const WILL_BE_SAID: readonly MessageState[] = [...SENT_STATES, ...UNSENT]

/** What is not to be said again to this number: for the same visit time, or ever. */
function kindsSaid(said: Message[], booking: Booking, { phone }: Patient, confirm: boolean): TextKind[] {
  const here = said.filter((each) => WILL_BE_SAID.includes(each.state) && isTo(each, phone))
  const forThisTime = here.filter(({ visitAt }) => visitAt?.getTime() === booking.visitAt.getTime())
  const onceEver = here.filter(({ kind }) => kind === 'confirmation' || kind === 'lmp-question')
  return [...forThisTime, ...onceEver].map(({ kind }) => kind).concat(confirm ? [] : ['confirmation'])
}

/**
 * Preparation that did not arrive is not said again, since something stands in for it: another
 * message, or a call. Where what stood in was withdrawn meanwhile (the number was another one for a
 * while, or was silenced), a person calls.
 */
async function callForLost(
  tx: Tx,
  deps: Deps,
  { patient, clinic }: ToPlan,
  said: readonly Message[],
  { booking, plan, unreachable }: Planned,
): Promise<void> {
  if (unreachable || booking.state !== 'booked' || plan.messages.some(isPreparation)) return
  const lost = notReachedBy(booking, said, patient.phone)
  if (!lost || booking.visitAt <= deps.clock.now()) return
  const calls = await tx.followUps.list({ bookingId: booking.id, limit: 100 })
  if (calls.some((call) => standsInFor(call, lost))) return
  await openFollowUp(tx, deps, { booking, patient, clinic }, 'not-delivered', { kind: lost.kind })
}

/** Open or done. */
function standsInFor({ reason, openedAt }: FollowUp, { claimedAt, sendAt }: Message): boolean {
  const isAboutIt = reason === 'not-delivered' || reason === 'send-unknown'
  return isAboutIt && openedAt >= (claimedAt ?? sendAt)
}

async function tellDesk(tx: Tx, deps: Deps, { patient, clinic, booking: before, because }: ToPlan, { booking, plan, unreachable }: Planned): Promise<void> {
  const about = { booking, patient, clinic }
  for (const { code, kind } of plan.warnings) {
    if (code === 'nobody-tells') await openFollowUp(tx, deps, about, unreachable!, because)
    if (code === 'no-time-to-tell') await openFollowUp(tx, deps, about, 'not-told')
    if (code === 'short-notice' && !before.shortNotice) await openFollowUp(tx, deps, about, 'short-notice')
    if (code === 'cap-reached' && kind !== 'day-before') await openFollowUp(tx, deps, about, 'plan-not-kept', { kind })
  }
}
