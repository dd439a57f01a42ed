import type { Booking, Clinic, Consent, Patient } from '../domain/booking.ts'
import { cycleCheckDate } from '../domain/cycle/cycle-check.ts'
import { SAID, type Message } from '../domain/message.ts'
import { planMessages, type PlanInput, type PrepPlan } from '../domain/prep/plan.ts'
import type { FullProtocol } from '../domain/prep/protocol.ts'
import { dateIn } from '../domain/rebook/choose.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import { protocolOf } from './lookups.ts'
import type { Alarm, Deps, Tx } from './ports.ts'
import { newMessage, openFollowUp } from './records-made.ts'

const WEEK_MS = 7 * 86_400_000

export interface Planned {
  booking: Booking
  plan: PrepPlan
}

/** Whose visit is planned. `confirm` false where another text (the answer `moved`) already tells her the time. */
export interface ToPlan {
  booking: Booking
  patient: Patient
  clinic: Clinic
  confirm?: boolean
}

/** What else decides about a plan. */
export interface Circumstances {
  /** Messages about this visit so far. */
  said: Message[]
  /** Instants of unsolicited messages to her number, other than this plan's own. */
  others: Date[]
  /** Consent for her channel, and no wish to be left alone. */
  mayWrite: boolean
}

/** From when on messages to her number count against the caps. */
export const countedSince = (now: Date): Date => new Date(now.getTime() - WEEK_MS)

/**
 * Makes the plan for a visit anew: withdraws what is unsent, plans what is still worth saying, tells the desk what
 * cannot be kept. Called whenever time, dates, language or protocol change.
 */
export async function makePlan(tx: Tx, deps: Deps, about: ToPlan): Promise<Planned> {
  const { booking: before, patient } = about
  const now = deps.clock.now()
  const [said, others, optedOut, consents] = await Promise.all([
    tx.messages.ofBooking(before.id),
    tx.messages.unsolicitedTo(patient.phone, countedSince(now), before.id),
    tx.optOuts.has(patient.phone),
    tx.patients.consents(patient.id),
    tx.messages.withdrawUnsent({ bookingId: before.id }, 'plan-revised', now),
  ])
  const planned = planFor(deps, about, { said, others, mayWrite: !optedOut && agreed(consents, patient) })
  await tx.bookings.update(planned.booking)
  await keepPlan(tx, deps, about, planned)
  return planned
}

export const agreed = (consents: readonly Consent[], { channel }: Patient): boolean => consents.some((each) => each.channel === channel)

/** What a visit's plan would be now, and the booking as it stands with it. Nothing is written. */
export function planFor(deps: Deps, { booking, patient, clinic, confirm = true }: ToPlan, { said, others, mayWrite }: Circumstances): Planned {
  const now = deps.clock.now()
  const protocol = protocolOf(deps, booking.protocol)
  const { visitAt: visit, zone } = booking
  const { hours } = clinic.settings
  const ask = question(patient, booking, protocol, now)
  const done = kindsSaid(said, booking, confirm)
  const silent = booking.state === 'cancelled' || !mayWrite
  const plan = silent ? { messages: [], warnings: [] } : planMessages({ visit, zone, now, hours, prepHours: protocol.prepHours, ask, done, others })
  const shortNotice = plan.warnings.some(({ code }) => code === 'short-notice')
  return { booking: { ...booking, planRevision: booking.planRevision + 1, planBasis: protocol.digest, shortNotice }, plan }
}

/**
 * Writes down a plan's messages, and tells the desk what cannot be kept.
 * @param ringing messages due before this instant are marked as queued at once
 * @returns their alarms, to be set once the transaction is committed
 */
export async function keepPlan(tx: Tx, deps: Deps, { booking: before, patient, clinic }: ToPlan, { booking, plan }: Planned, ringing?: Date): Promise<Alarm[]> {
  const state = ({ sendAt }: { sendAt: Date }) => (ringing && sendAt < ringing ? 'queued' : 'planned')
  const messages = plan.messages.map((each) => newMessage(deps, { clinic, patient, booking }, { ...each, revision: booking.planRevision, state: state(each) }))
  await tx.messages.insert(messages)
  await tellDesk(tx, deps, { booking, patient, clinic }, plan, before)
  return messages.filter((each) => each.state === 'queued').map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt }))
}

/** What Daysix would like to ask her before the visit, and when; null = nothing. */
export function question(patient: Patient, booking: Booking, protocol: FullProtocol, now: Date): PlanInput['ask'] {
  const { cycle } = patient
  if (cycle.status === 'no-periods' || protocol.avoidDays === null) return null
  if (cycle.status === 'unknown' && !cycle.lmp) return { kind: 'lmp-question' }
  const on = cycleCheckDate({ history: cycle, visit: dateIn(booking.visitAt, booking.zone), asOf: dateIn(now, booking.zone), protocol })
  return on === null ? null : { kind: 'cycle-check', on }
}

/** What is not to be said again: for the same visit time, or ever. */
function kindsSaid(said: Message[], booking: Booking, confirm: boolean): TextKind[] {
  const forThisTime = said.filter(({ state, visitAt }) => SAID.includes(state) && visitAt?.getTime() === booking.visitAt.getTime())
  const onceEver = said.filter(({ state, kind }) => SAID.includes(state) && (kind === 'confirmation' || kind === 'lmp-question'))
  return [...forThisTime, ...onceEver].map(({ kind }) => kind).concat(confirm ? [] : ['confirmation'])
}

async function tellDesk(
  tx: Tx,
  deps: Deps,
  about: { booking: Booking; patient: Patient; clinic: Clinic },
  { warnings }: PrepPlan,
  before: Booking,
): Promise<void> {
  for (const { code, kind } of warnings) {
    if (code === 'no-time-to-tell') await openFollowUp(tx, deps, about, 'not-told')
    if (code === 'short-notice' && !before.shortNotice) await openFollowUp(tx, deps, about, 'short-notice')
    if (code === 'cap-reached' && kind !== 'day-before') await openFollowUp(tx, deps, about, 'plan-not-kept', { kind })
  }
}
