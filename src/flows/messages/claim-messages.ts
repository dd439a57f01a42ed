import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import { UNSENT, type Message } from '../../domain/messages/message.ts'
import { isElsewhere, stillHolds } from '../../domain/messages/still-right.ts'
import { withinCaps } from '../../domain/preparation/caps.ts'
import { mayRing, nextAllowed } from '../../domain/preparation/sending-hours.ts'
import { inZone } from '../../domain/local-time.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import type { Outgoing } from '../ports/gateway.ts'
import type { SendJob, Deps, DispatchContext, Tx } from '../ports/deps.ts'
import { idsOf } from './new-message.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Place, PlaceTurn } from './waiting-line.ts'
import { renderMessage } from './render-message.ts'

/** Said even to a number that wants no messages: they confirm that wish, or answer what was written since. */
const DESPITE_OPT_OUT: ReadonlySet<TextKind> = new Set(['stopped', 'wrong-person', 'help', 'alarm'])

const WEEK_MS = 7 * 86_400_000

/** A message that is ours to send now, with the words. */
export interface Claimed {
  message: Message
  outgoing: Outgoing
}

/** A job that is due, with the turn at a gateway that was waited for. */
export interface JobWithTurn extends SendJob {
  turn?: PlaceTurn
}

/**
 * What came of one job. `wait`: it must have a turn there first. `later`: it must be enqueued again,
 * for that time. `outdated`: it waits, but the patient is reached otherwise by now: see
 * `renewOutdated`.
 */
export type Claim =
  | { kind: 'go'; claimed: Claimed }
  | { kind: 'wait'; place: Place }
  | { kind: 'later'; job: SendJob }
  | { kind: 'outdated'; message: Message }
  | { kind: 'nothing' }

/** How an attempt is held: the message alone would not do, since the next attempt may begin before the last is let go. */
export const attemptKey = ({ id, attempt }: Pick<Message, 'id' | 'attempt'>): string => `${id} ${attempt}`
const nextAttemptKey = ({ id, attempt }: Message): string => attemptKey({ id, attempt: attempt + 1 })

/** One message with what decides about it. */
export interface MessageContext {
  booking: Booking | null
  patient: Patient | null
  clinic: Clinic
  zone: string
  offer: Offer | undefined
}

/**
 * Decides about many messages in one transaction, and claims those that may go. Everything is checked again here: time
 * has passed since the plan was made. Nothing is claimed that could not be handed over at once.
 *
 * @param taken filled with the keys of what is being claimed, before it is.
 * @returns a claim for each job, in order.
 */
export async function claimDue(tx: Tx, deps: Deps, jobs: readonly JobWithTurn[], taken: string[]): Promise<Claim[]> {
  const now = deps.clock.now()
  // Two jobs may come for one message at once, the first and a repeated one: it goes to one of them.
  const first = new Map([...jobs].reverse().map((job) => [job.messageId, job]))
  const due = await tx.dispatch.due([...first.values()], now)
  const waiting = due.filter((message) => mustWait(deps, message, first.get(message.id)!.turn))
  const messages = due.filter((message) => !waiting.includes(message))
  const found = await tx.dispatch.context(messages, new Date(now.getTime() - WEEK_MS))
  // Those that go together must not forget each other.
  const known = { ...found, lately: [...found.lately] }
  const claims = new Map<string, Claim>()
  for (const { id, gateway, channel } of waiting) claims.set(id, { kind: 'wait', place: { gateway, channel } })
  for (const message of messages) {
    const claim = await claimOne(tx, deps, message, contextOf(message, known), known)
    if (claim.kind === 'go' && message.unsolicited) known.lately.push({ phone: message.phone, id: message.id, at: now })
    claims.set(message.id, claim)
  }
  const going = [...claims.values()].flatMap((claim) => (claim.kind === 'go' ? [claim.claimed] : []))
  taken.push(...going.map(({ message }) => nextAttemptKey(message)))
  await hold(tx, deps, going)
  return jobs.map((job) => (first.get(job.messageId) === job && claims.get(job.messageId)) || { kind: 'nothing' })
}

/** Its gateway has it wait for a turn, and this is none. */
function mustWait({ gateways }: Deps, { gateway, channel }: Message, turn: PlaceTurn | undefined): boolean {
  const there = gateways.get(gateway)
  if (!there?.turn || !there.channels.includes(channel)) return false
  return turn?.gateway !== gateway || turn.channel !== channel
}

async function hold(tx: Tx, deps: Deps, going: readonly Claimed[]): Promise<void> {
  if (going.length === 0) return
  // Held before the claim is committed: what is claimed by this process and not held was never sent.
  for (const { message } of going) deps.worker.inFlight.add(nextAttemptKey(message))
  await tx.workers.ensure(deps.worker.id)
  const written = going.map(({ message, outgoing }) => ({ message, text: outgoing.text }))
  const claimedAt = deps.clock.now()
  await tx.dispatch.claim(written, deps.worker.id, claimedAt)
  for (const { message } of going) Object.assign(message, { attempt: message.attempt + 1, claimedAt })
}

export function contextOf(
  { bookingId, patientId, clinicId }: Message,
  found: DispatchContext,
): MessageContext {
  const booking = (bookingId !== null && found.bookings.get(bookingId)) || null
  const patient = (patientId !== null && found.patients.get(patientId)) || null
  const clinic = found.clinics.get(clinicId)!
  const offer = bookingId === null ? undefined : found.offers.get(bookingId)
  return { booking, patient, clinic, zone: booking?.zone ?? clinic.zone, offer }
}

async function claimOne(tx: Tx, deps: Deps, message: Message, about: MessageContext, found: DispatchContext): Promise<Claim> {
  if (about.patient && isElsewhere(message, about.patient)) return { kind: 'outdated', message }
  const refusal = refusalOf(deps.clock.now(), message, about, found)
  if (refusal) return finish(tx, deps, message, about, refusal)
  const wait = deferUntil(deps.clock.now(), message, about, found)
  if (wait) return postpone(tx, deps, message, about, wait)
  const { text, state, voice } = renderMessage(deps, message, about)
  if (state === 'draft' && !deps.policy.allowDrafts) return finish(tx, deps, message, about, { state: 'failed', code: 'draft-text' })
  const { id, channel, phone: to, language, notAfter } = message
  return { kind: 'go', claimed: { message, outgoing: { id, channel, to, text, language, notAfter, ...(voice && { voice }) } } }
}

export type Refusal = { state: 'withdrawn' | 'expired' | 'failed'; code: string }

/** Why a message is not to be sent, neither now nor later; null = may go, once it is its time. */
export function refusalOf(
  now: Date,
  message: Message,
  about: MessageContext,
  { optedOut, channels }: DispatchContext,
): Refusal | null {
  if (message.notAfter <= now) return { state: 'expired', code: 'too-late' }
  if (about.patient?.reportedDead) return { state: 'withdrawn', code: 'died' }
  if (!DESPITE_OPT_OUT.has(message.kind) && optedOut.has(message.phone)) return { state: 'withdrawn', code: 'opted-out' }
  if (!stillHolds(message, about)) return { state: 'withdrawn', code: SUPERSEDED }
  if (message.prompted) return null
  const agreed = message.patientId !== null && channels.get(message.patientId)?.has(message.channel)
  return agreed ? null : { state: 'withdrawn', code: 'no-consent' }
}

/** Something newer says what there is to say. */
export const SUPERSEDED = 'plan-revised'

/** When it must wait for sending hours or for the next day's allowance; null = go now. */
function deferUntil(now: Date, message: Message, { clinic, zone }: MessageContext, { lately }: DispatchContext): Date | null {
  if (message.prompted) return null
  const { hours } = clinic.settings
  if (!mayRing(now, zone, hours)) return nextAllowed(now, zone, hours)
  // A fallback stands in for a message that counted already.
  if (!message.unsolicited || message.fallbackOf) return null
  const others = lately.filter(({ phone, id }) => phone === message.phone && id !== message.id).map(({ at }) => at)
  return withinCaps(now, others, zone) ? null : nextAllowed(inZone(now, zone).plus({ days: 1 }).startOf('day').toJSDate(), zone, hours)
}

async function postpone(tx: Tx, deps: Deps, message: Message, about: MessageContext, until: Date): Promise<Claim> {
  if (until >= message.notAfter) return finish(tx, deps, message, about, { state: 'expired', code: 'no-time-left' })
  const attempt = message.attempt + 1 // a new job, not the one that is under way
  await tx.messages.move(message.id, [message.state], 'queued', { sendAt: until, attempt })
  return { kind: 'later', job: { messageId: message.id, revision: message.revision, attempt, at: until } }
}

/** Ends a message that waits; what mattered is left to a person. */
export async function finish(
  tx: Tx,
  deps: Deps,
  message: Message,
  about: MessageContext,
  { state, code }: Refusal,
): Promise<Claim> {
  const facts = { code, endedAt: deps.clock.now() }
  if (!(await tx.messages.move(message.id, UNSENT, state, facts))) return { kind: 'nothing' }
  // Words that nobody approved will not get better with time: whatever was to be said, a person says it.
  const { kind } = message
  if (code === 'draft-text' && !ENDS_CONTACT.has(kind)) await openFollowUp(tx, deps, about, lossOf(message), { kind })
  else if (code !== SUPERSEDED) await followUpIfImportant(tx, deps, message, about)
  deps.notice(`message-${state}`, idsOf(message))
  return { kind: 'nothing' }
}

/** Said last to a number that wants to be left alone. */
const ENDS_CONTACT: ReadonlySet<TextKind> = new Set(['stopped', 'wrong-person'])

/** Kinds that a person must make up for when they could not be sent. */
const MUST_BE_TOLD: ReadonlySet<TextKind> = new Set(['prep', 'late-prep', 'offer', 'moved', 'cannot-offer', 'alarm'])

/** What the desk wrote matters always: whoever wrote it believes that it is told. */
export const mustBeTold = ({ kind, byHand }: Message) => byHand || MUST_BE_TOLD.has(kind)

/** Why the desk must call when this did not arrive. */
export const lossOf = ({ byHand }: Message) => (byHand ? 'text-lost' : 'not-delivered')

/** A message that mattered was never sent: somebody must call. */
export async function followUpIfImportant(tx: Tx, deps: Deps, message: Message, about: { booking: Booking | null; patient: Patient | null; clinic: Clinic }) {
  if (mustBeTold(message)) await openFollowUp(tx, deps, about, lossOf(message), { kind: message.kind })
}
