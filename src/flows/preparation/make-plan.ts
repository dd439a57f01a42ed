import { planFacts } from './plan-facts.ts'
import { homeZone } from '../../domain/patients/home-zone.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { consentEnd, type CountedConsent } from '../../domain/patients/consent.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { UNREACHABLE, whyUnreachable, type Obstacle } from '../../domain/patients/unreachable.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { toldSince } from '../../domain/preparation/cycle/unanswered.ts'
import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import type { Message } from '../../domain/messages/message.ts'
import { isPreparation } from '../../domain/messages/still-right.ts'
import { withinConsent } from '../../domain/preparation/within-consent.ts'
import type { Refusal } from '../../domain/replies/decide-for-number.ts'
import { planMessages, type PrepPlan } from '../../domain/preparation/plan.ts'
import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import { isTold, notReachedBy } from '../../domain/preparation/prep-status.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import { protocolOf, silentGateways } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'
import { closeEach, openFollowUp } from '../calls/follow-ups.ts'
import { followEligibility } from '../calls/follow-eligibility.ts'
import { aboutLoss } from '../messages/leave-to-person.ts'
import { later } from '../messages/when-to-tell.ts'
import { newMessage } from '../messages/new-message.ts'
import { isLmpUnknown, kindsSaid, question } from './what-to-ask.ts'

const WEEK_MS = 7 * 86_400_000

export interface Planned {
  booking: Booking
  plan: PrepPlan
  /** Why nobody tells the patient; null where the messages of the plan do. */
  unreachable: Obstacle | null
}

/** Whose visit is planned. `confirm` false where another text (the answer `moved`) already tells the time. */
export interface ToPlan {
  booking: Booking
  patient: Patient
  clinic: Clinic
  confirm?: boolean
  /** Nothing of it is sent earlier. */
  notBefore?: Date | undefined
  /** What the desk should read beside a call that this plan opens, e.g. the patient's words. */
  because?: Record<string, unknown> | undefined
}

/** What else decides about a plan. */
export interface Circumstances {
  /** Messages about this visit so far. */
  said: Message[]
  /** Instants of unsolicited messages to the patient's number, other than this plan's own. */
  others: Date[]
  refused: Refusal | null
  consents: readonly CountedConsent[]
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
  const [said, others, optOut, consents] = await Promise.all([
    tx.messages.ofBooking(before.id),
    tx.messages.unsolicitedTo(patient.phone, countedSince(now), before.id),
    tx.optOuts.get(patient.phone),
    tx.patients.consents(patient.id),
  ])
  const planned = planFor(deps, about, { said, others, refused: optOut?.reason ?? null, consents })
  await tx.bookings.update(planned.booking)
  await keepPlan(tx, deps, about, planned)
  await callForLost(tx, deps, about, said, planned)
  await followEligibility(tx, deps, { ...about, booking: planned.booking })
  await closeSettled(tx, deps, about, planned)
  return planned
}

/** Closes the calls about this visit for which there is no reason any more. */
function closeSettled(tx: Tx, deps: Deps, { booking, patient }: ToPlan, { unreachable, plan }: Planned) {
  const { cycle } = patient
  const isAnswered = ({ lmp, askedOn }: FollowUp['detail']) =>
    lmp !== (cycle.lmp ?? null) || toldSince(cycle, String(askedOn))
  const ends = plan.warnings.some(({ code }) => code === 'consent-ends')
  const stands = unreachable?.reason ?? (ends ? 'no-consent' : null)
  return closeEach(tx, deps, booking.id, ({ reason, detail }) => {
    if (UNREACHABLE.has(reason)) return reason === stands ? null : 'the patient may be written to'
    if (reason === 'ask-lmp') return isLmpUnknown(patient) ? null : 'the last period was told'
    return reason === 'unanswered-check' && isAnswered(detail) ? 'the patient has told' : null
  })
}

/** What a visit's plan would be now, and the booking as it stands with it. Nothing is written. */
export function planFor(deps: Deps, about: ToPlan, circumstances: Circumstances): Planned {
  const { booking } = about
  const protocol = protocolOf(deps, booking.protocol)
  const { refused, consents, said } = circumstances
  const { channel } = about.patient
  const unreachable = whyUnreachable({ ...about, refused, consents, channel, at: deps.clock.now() })
  const told = isTold(booking, protocol, said, about.patient.phone, silentGateways(deps))
  const end = consentEnd(about.patient, consents, channel) ?? null
  const whole = planned(deps, about, protocol, circumstances, unreachable, told)
  const plan = withinConsent(whole, end, homeZone(about), told)
  // Whoever was told late stays so: a later plan has nothing more to tell, and so nothing to warn of.
  const staysSo = booking.shortNotice && told
  const shortNotice = staysSo || plan.warnings.some(({ code }) => code === 'short-notice' || code === 'tight')
  const next = { ...booking, planRevision: booking.planRevision + 1, planBasis: protocol.digest, shortNotice }
  return { booking: next, plan, unreachable }
}

function planned(
  deps: Deps,
  about: ToPlan,
  protocol: FullProtocol,
  { said, others }: Circumstances,
  unreachable: Obstacle | null,
  told: boolean,
): PrepPlan {
  const { booking, patient, confirm = true } = about
  const { visitAt: visit } = booking
  const now = later(deps.clock.now(), about.notBefore)
  if (booking.state === 'cancelled' || booking.outcome !== null || visit <= now) return { messages: [], warnings: [] }
  if (unreachable) return nobodyTells(unreachable, told)
  const ask = question(patient, booking, protocol, now, said)
  const done = kindsSaid(said, booking, patient, confirm)
  return planMessages({ ...planFacts(about, protocol, now), ask, done, others })
}

/** Whoever was told and then wants no more messages needs no call. What was told to somebody else was not told. */
function nobodyTells({ reason }: Obstacle, told: boolean): PrepPlan {
  if (told && reason !== 'died' && reason !== 'wrong-person') return { messages: [], warnings: [] }
  const message = 'Nobody tells this patient by message: it is on the call list.'
  return { messages: [], warnings: [{ code: 'nobody-tells', kind: 'prep', message }] }
}

/**
 * Writes down a plan's messages, and tells the desk what cannot be kept.
 * @param ringing messages due before this instant are marked as queued at once
 * @returns their jobs, to be enqueued once the transaction is committed
 */
export async function keepPlan(
  tx: Tx,
  deps: Deps,
  about: ToPlan,
  planned: Planned,
  ringing?: Date,
): Promise<SendJob[]> {
  const { id: booking, clinicId: clinic, planRevision: revision } = planned.booking
  const facts = { booking, clinic, revision, messages: planned.plan.messages.length }
  return deps.traces.span('keep plan', facts, () => writePlan(tx, deps, about, planned, ringing))
}

async function writePlan(
  tx: Tx,
  deps: Deps,
  about: ToPlan,
  planned: Planned,
  ringing: Date | undefined,
): Promise<SendJob[]> {
  const { patient, clinic } = about
  const { booking, plan } = planned
  const state = ({ sendAt }: { sendAt: Date }) => (ringing && sendAt < ringing ? 'queued' : 'planned')
  const messages = plan.messages.map((each) =>
    newMessage(deps, { clinic, patient, booking }, { ...each, revision: booking.planRevision, state: state(each) }),
  )
  void tx.messages.insert(messages)
  await tellDesk(tx, deps, about, planned)
  return messages
    .filter((each) => each.state === 'queued')
    .map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt }))
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
  await openFollowUp(tx, deps, { booking, patient, clinic }, 'not-delivered', aboutLoss(lost))
}

/** Open or done. */
function standsInFor({ reason, openedAt }: FollowUp, { claimedAt, sendAt }: Message): boolean {
  const isAboutIt = reason === 'not-delivered' || reason === 'send-unknown'
  return isAboutIt && openedAt >= (claimedAt ?? sendAt)
}

/** A person has seen to it before, or is about to. What was closed for another time of the visit does not count. */
async function wasCalledAbout(tx: Tx, bookingId: string, reason: FollowUpReason): Promise<boolean> {
  const calls = await tx.followUps.list({ bookingId, limit: 100 })
  return calls.some((call) => call.reason === reason && call.closedBy !== 'daysix')
}

async function tellDesk(
  tx: Tx,
  deps: Deps,
  { patient, clinic, booking: before, because }: ToPlan,
  { booking, plan, unreachable }: Planned,
): Promise<void> {
  const about = { booking, patient, clinic }
  for (const { code, kind, message } of plan.warnings) {
    if (code === 'nobody-tells')
      await openFollowUp(tx, deps, about, unreachable!.reason, { ...because, ...whyOf(unreachable!) })
    if (code === 'consent-ends') await openFollowUp(tx, deps, about, 'no-consent', { ...because, why: message })
    if (code === 'no-time-to-tell') await openFollowUp(tx, deps, about, 'not-told')
    if (code === 'not-asked' && !(await wasCalledAbout(tx, booking.id, 'ask-lmp')))
      await openFollowUp(tx, deps, about, 'ask-lmp')
    if ((code === 'short-notice' || code === 'tight') && !before.shortNotice)
      await openFollowUp(tx, deps, about, 'short-notice')
    if (code === 'cap-reached' && MESSAGE_KINDS[kind].planned.noRoom === 'call')
      await openFollowUp(tx, deps, about, 'plan-not-kept', { kind })
  }
}

const whyOf = ({ why }: Obstacle) => (why === undefined ? {} : { why })
