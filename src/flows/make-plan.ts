import type { Booking, Clinic, Patient } from '../domain/booking.ts'
import { cycleCheckDate } from '../domain/cycle/cycle-check.ts'
import type { Message } from '../domain/message.ts'
import { planMessages, type PlanInput, type PrepPlan } from '../domain/prep/plan.ts'
import type { FullProtocol } from '../domain/prep/protocol.ts'
import { dateIn } from '../domain/rebook/choose.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import { protocolOf } from './lookups.ts'
import type { Deps, Tx } from './ports.ts'
import { newMessage, openFollowUp } from './records-made.ts'

const WEEK_MS = 7 * 86_400_000
/** Sent, or on its way: not to be said again for the same visit time. */
const SAID: readonly Message['state'][] = ['sending', 'sent', 'delivered', 'undelivered']

export interface Planned {
  booking: Booking
  plan: PrepPlan
}

/**
 * Makes the plan for a visit anew: withdraws what is unsent, plans what is still worth saying, tells the desk what
 * cannot be kept. Called whenever time, dates, language or protocol change.
 *
 * @param confirm false where another text (the answer `moved`) already tells her the time.
 */
export async function makePlan(
  tx: Tx,
  deps: Deps,
  { booking: before, patient, clinic, confirm = true }: { booking: Booking; patient: Patient; clinic: Clinic; confirm?: boolean },
): Promise<Planned> {
  const now = deps.clock.now()
  const protocol = protocolOf(deps, before.protocol)
  const said = await tx.messages.ofBooking(before.id)
  await tx.messages.withdrawUnsent({ bookingId: before.id }, 'plan-revised', now)
  const silent = before.state === 'cancelled' || !(await mayWrite(tx, patient))
  const plan = silent ? { messages: [], warnings: [] } : planMessages(await planInput())
  const shortNotice = plan.warnings.some(({ code }) => code === 'short-notice')
  const booking = { ...before, planRevision: before.planRevision + 1, planBasis: protocol.digest, shortNotice }
  await tx.bookings.update(booking)
  await tx.messages.insert(plan.messages.map((each) => newMessage(deps, { clinic, patient, booking }, { ...each, revision: booking.planRevision })))
  await tellDesk(tx, deps, { booking, patient, clinic }, plan, before)
  return { booking, plan }

  async function planInput(): Promise<PlanInput> {
    return {
      visit: before.visitAt,
      zone: before.zone,
      now,
      hours: clinic.settings.hours,
      prepHours: protocol.prepHours,
      ask: question(patient, before, protocol, now),
      done: kindsSaid(said, before, confirm),
      others: await tx.messages.unsolicitedTo(patient.phone, new Date(now.getTime() - WEEK_MS), before.id),
    }
  }
}

/** Consent for her channel, and no wish to be left alone. */
async function mayWrite(tx: Tx, patient: Patient): Promise<boolean> {
  if (await tx.optOuts.has(patient.phone)) return false
  return (await tx.patients.consents(patient.id)).some(({ channel }) => channel === patient.channel)
}

/** What Daysix would like to ask her before the visit, and when; null = nothing. */
export function question(patient: Patient, booking: Booking, protocol: FullProtocol, now: Date): PlanInput['ask'] {
  const { cycle } = patient
  if (cycle.status === 'no-periods' || protocol.avoidDays === null) return null
  if (cycle.status === 'unknown' && !cycle.lmp) return { kind: 'lmp-question' }
  const on = cycleCheckDate({ history: cycle, visit: dateIn(booking.visitAt, booking.zone), asOf: dateIn(now, booking.zone), protocol })
  return on === null ? null : { kind: 'cycle-check', on }
}

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
