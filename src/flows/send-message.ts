import type { Booking, Clinic, Patient } from '../domain/booking.ts'
import type { Message } from '../domain/message.ts'
import { withinCaps } from '../domain/prep/caps.ts'
import { inZone, mayRing, nextAllowed } from '../domain/prep/sending-hours.ts'
import { afterOutcome, type NextStep } from '../domain/prep/retry.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import { fallBack } from './fall-back.ts'
import type { Outgoing, SendOutcome } from './gateway.ts'
import type { Alarm, Deps, Tx } from './ports.ts'
import { openFollowUp } from './records-made.ts'
import { alarmOf } from './ring-due.ts'
import { applyReceipt } from './take-receipt.ts'
import { wordsOf } from './words-of.ts'

/** Said even to a number that wants no messages: they confirm that wish, or answer what she wrote since. */
const DESPITE_OPT_OUT: ReadonlySet<TextKind> = new Set(['stopped', 'wrong-person', 'help', 'alarm'])

const WEEK_MS = 7 * 86_400_000

/** Sends one message, if it is still worth sending: claim, hand to the gateway, record. Safe to call twice. */
export async function sendMessage(deps: Deps, { messageId, revision }: Pick<Alarm, 'messageId' | 'revision'>): Promise<void> {
  const claimed = await deps.store.transact((tx) => claim(tx, deps, messageId, revision))
  if (claimed.kind === 'later') await deps.queue.set([claimed.alarm])
  if (claimed.kind !== 'go') return
  const { message, outgoing } = claimed
  const outcome = await handOver(deps, message, outgoing)
  const alarm = await deps.store.transact((tx) => recordOutcome(tx, deps, message, outcome))
  if (alarm) await deps.queue.set([alarm])
}

type Claim = { kind: 'go'; message: Message; outgoing: Outgoing } | { kind: 'later'; alarm: Alarm } | { kind: 'nothing' }

/** Everything is checked again here, in the transaction that claims: time has passed since the plan was made. */
async function claim(tx: Tx, deps: Deps, id: string, revision: number | null): Promise<Claim> {
  const now = deps.clock.now()
  const message = await tx.messages.claim(id, revision, now)
  if (!message) return { kind: 'nothing' }
  const around = await surroundings(tx, message)
  const refusal = await refusalOf(tx, deps, message, around)
  if (refusal) return withdraw(tx, deps, message, around, refusal)
  const wait = await waitOf(tx, deps, message, around)
  if (wait) return postpone(tx, deps, message, around, wait)
  return render(tx, deps, message, around)
}

interface Around {
  booking: Booking | null
  patient: Patient | null
  clinic: Clinic
  zone: string
}

async function surroundings(tx: Tx, message: Message): Promise<Around> {
  const booking = message.bookingId === null ? null : ((await tx.bookings.get(message.bookingId)) ?? null)
  const patient = message.patientId === null ? null : ((await tx.patients.get(message.patientId)) ?? null)
  const clinic = (await tx.clinics.get(message.clinicId))!
  return { booking, patient, clinic, zone: booking?.zone ?? clinic.zone }
}

type Refusal = { state: 'withdrawn' | 'expired' | 'failed'; code: string }

async function refusalOf(tx: Tx, deps: Deps, message: Message, { booking, patient }: Around): Promise<Refusal | null> {
  if (message.notAfter <= deps.clock.now()) return { state: 'expired', code: 'too-late' }
  if (!DESPITE_OPT_OUT.has(message.kind) && (await tx.optOuts.has(message.phone))) return { state: 'withdrawn', code: 'opted-out' }
  if (message.revision === null) return null // an answer to her own text
  if (booking?.state !== 'booked' || booking.planRevision !== message.revision) return { state: 'withdrawn', code: 'plan-revised' }
  const consents = patient ? await tx.patients.consents(patient.id) : []
  return consents.some(({ channel }) => channel === message.channel) ? null : { state: 'withdrawn', code: 'no-consent' }
}

/** When it must wait for sending hours or for the next day's allowance; null = go now. */
async function waitOf(tx: Tx, deps: Deps, message: Message, { clinic, zone }: Around): Promise<Date | null> {
  if (message.revision === null) return null
  const now = deps.clock.now()
  const { hours } = clinic.settings
  if (!mayRing(now, zone, hours)) return nextAllowed(now, zone, hours)
  // A fallback stands in for a message that counted already.
  if (!message.unsolicited || message.fallbackOf) return null
  const since = new Date(now.getTime() - WEEK_MS)
  const others = (await tx.messages.toPhone(message.phone, since))
    .filter((each) => each.id !== message.id && each.unsolicited && each.sentAt !== null)
    .map((each) => each.sentAt!)
  return withinCaps(now, others, zone) ? null : nextAllowed(inZone(now, zone).plus({ days: 1 }).startOf('day').toJSDate(), zone, hours)
}

async function postpone(tx: Tx, deps: Deps, message: Message, around: Around, until: Date): Promise<Claim> {
  if (until >= message.notAfter) return withdraw(tx, deps, message, around, { state: 'expired', code: 'no-time-left' })
  await tx.messages.move(message.id, ['sending'], 'queued', { sendAt: until, claimedAt: null })
  return { kind: 'later', alarm: alarmOf({ ...message, sendAt: until }) }
}

async function withdraw(tx: Tx, deps: Deps, message: Message, around: Around, { state, code }: Refusal): Promise<Claim> {
  await tx.messages.move(message.id, ['sending'], state, { code, endedAt: deps.clock.now(), claimedAt: null })
  if (state !== 'withdrawn') await lostWorth(tx, deps, message, around)
  deps.notice(`message-${state}`, { message: message.id })
  return { kind: 'nothing' }
}

/** Kinds that a person must make up for when they could not be sent. */
const MUST_BE_TOLD: ReadonlySet<TextKind> = new Set(['prep', 'late-prep', 'offer', 'moved', 'cannot-offer', 'alarm'])

/** A message that mattered was never sent: somebody must call. */
export async function lostWorth(tx: Tx, deps: Deps, message: Message, around: { booking: Booking | null; patient: Patient | null; clinic: Clinic }) {
  if (MUST_BE_TOLD.has(message.kind)) await openFollowUp(tx, deps, around, 'not-delivered', { kind: message.kind })
}

async function render(tx: Tx, deps: Deps, message: Message, around: Around): Promise<Claim> {
  const { text, state } = wordsOf(deps, message, around)
  if (state === 'draft' && !deps.policy.allowDrafts) return withdraw(tx, deps, message, around, { state: 'failed', code: 'draft-text' })
  // The words are kept before they leave, so that a crash in between cannot lose what was said.
  await tx.messages.move(message.id, ['sending'], 'sending', { text })
  const { id, channel, phone: to, language, notAfter } = message
  return { kind: 'go', message, outgoing: { id, channel, to, text, language, notAfter } }
}

async function handOver(deps: Deps, message: Message, outgoing: Outgoing): Promise<SendOutcome> {
  const gateway = deps.gateways.get(message.gateway)
  if (!gateway?.channels.includes(message.channel)) return { kind: 'rejected', code: 'no-gateway' }
  return gateway.send(outgoing)
}

/** Writes down what became of an attempt; the alarm to set, if it will be tried again. */
export async function recordOutcome(tx: Tx, deps: Deps, message: Message, outcome: SendOutcome): Promise<Alarm | null> {
  const gateway = deps.gateways.get(message.gateway)
  const step = afterOutcome(outcome, message, deps.clock.now(), gateway?.onUnknown ?? 'ask-desk')
  const code = 'code' in outcome ? outcome.code : null
  if (step.state === 'sent') return sent(tx, deps, message, outcome)
  if (step.state === 'queued') return again(tx, message, step, code)
  await tx.messages.move(message.id, ['sending'], step.state, { code, endedAt: deps.clock.now() })
  deps.notice(`message-${step.state}`, { message: message.id })
  if (step.tell) await openFollowUp(tx, deps, await surroundings(tx, message), step.tell, { kind: message.kind })
  if (step.state !== 'undelivered') await fallBack(tx, deps, message)
  return null
}

async function sent(tx: Tx, deps: Deps, message: Message, outcome: SendOutcome): Promise<null> {
  const ref = outcome.kind === 'accepted' ? outcome.ref : undefined
  const now = deps.clock.now()
  await tx.messages.move(message.id, ['sending'], 'sent', { sentAt: now, ...(ref !== undefined && { gatewayRef: ref }) })
  deps.notice('message-sent', { message: message.id })
  const early = ref === undefined ? undefined : await tx.messages.takeEarlyReceipt(message.gateway, ref)
  if (early) await applyReceipt(tx, deps, message.id, early)
  return null
}

async function again(tx: Tx, message: Message, step: Extract<NextStep, { state: 'queued' }>, code: string | null): Promise<Alarm | null> {
  const moved = await tx.messages.move(message.id, ['sending'], 'queued', { sendAt: step.at, claimedAt: null, code })
  return moved ? alarmOf({ ...message, sendAt: step.at }) : null
}
