import { Interval } from 'luxon'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import { MESSAGE_KINDS } from '../../src/domain/messages/texts/message-kinds.ts'
import { mustBeTold } from '../../src/flows/messages/leave-to-person.ts'
import type { Booking } from '../../src/domain/visits/booking.ts'
import type { TestWorld } from '../harness/world.ts'
import type { Model, Real } from './meeting.ts'

/** What must hold when nobody is doing anything; one sentence for each promise that is broken. */
export async function broken(model: Model, real: Real): Promise<string[]> {
  const { world } = real
  const { read } = world.deps.store
  const visits = await read.bookings.many(model.visits.map(({ id }) => id))
  const each = await Promise.all(visits.map((booking) => brokenOf(world, booking)))
  return [
    ...each.flat(),
    ...(await strayed(model, real, visits)),
    ...twiceTaken(model, visits),
    ...(await lost(model, world, visits)),
    ...(await unheard(model, world)),
    ...(await leftBehind(real)),
  ]
}

/** The calls by which a person tells. */
const TELLS: ReadonlySet<FollowUpReason> = new Set<FollowUpReason>([
  ...(['opted-out', 'no-consent', 'wrong-person', 'died'] as const),
  ...(['not-told', 'not-delivered', 'send-unknown', 'plan-not-kept'] as const),
])

/** Whoever is to prepare is told, will be told, or stands on the call list. */
async function brokenOf(world: TestWorld, booking: Booking): Promise<string[]> {
  const { read } = world.deps.store
  const messages = await read.messages.ofBooking(booking.id)
  const waiting = messages.filter(({ state }) => state === 'planned' || state === 'queued')
  const isOver = booking.state === 'cancelled' || booking.outcome !== null
  if (isOver) {
    const plan = waiting.filter(({ revision }) => revision !== null)
    return plan.map(({ kind }) => `${kind} waits for a visit that is ${booking.outcome ? 'ended' : booking.state}`)
  }
  if (booking.visitAt <= world.clock.now()) return []
  const patient = (await read.patients.get(booking.patientId))!
  const prepares = messages.filter(
    ({ kind, visitAt, phone }) =>
      MESSAGE_KINDS[kind].prepares !== null &&
      visitAt?.getTime() === booking.visitAt.getTime() &&
      phone === patient.phone,
  )
  const isHandled = prepares.some(({ state }) => ['planned', 'queued', 'sending', 'sent', 'delivered'].includes(state))
  const calls = await read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })
  return isHandled || calls.some(({ reason }) => TELLS.has(reason))
    ? []
    : [`nobody tells ${patient.name} how to prepare for ${booking.visitAt.toISOString()}`]
}

/** What was sent since went to the number that the patient has, and to none that wants nothing. */
async function strayed(model: Model, { world, judged }: Real, visits: readonly Booking[]): Promise<string[]> {
  const found: string[] = []
  // Of a worker that died, only the network knows when a message went.
  const went = new Map(world.pocket.ledger().map(({ messageId, acceptedAt }) => [messageId, acceptedAt]))
  for (const { id, person } of model.visits) {
    if (!visits.some((visit) => visit.id === id)) continue
    for (const message of await world.deps.store.read.messages.ofBooking(id)) {
      if (message.sentAt === null || judged.has(message.id)) continue
      judged.add(message.id)
      if (message.prompted) continue
      if (message.phone !== model.numbers[person]) found.push(`${message.kind} went to an old number`)
      const since = model.refused.get(message.phone)
      if (since && (went.get(message.id) ?? message.sentAt) > since)
        found.push(`${message.kind} went to a number that wants none`)
    }
  }
  return found
}

/** Referee: luxon's intervals, half-open as visits are. */
function twiceTaken({ overbooked }: Model, visits: readonly Booking[]): string[] {
  const booked = visits.filter(({ state, id }) => state === 'booked' && !overbooked.has(id))
  const interval = ({ visitAt, minutes }: Booking) => Interval.after(visitAt, { minutes })
  return booked.flatMap((a, index) =>
    booked
      .slice(index + 1)
      .filter((b) => a.clinicId === b.clinicId && a.clinician === b.clinician && interval(a).overlaps(interval(b)))
      .map((b) => `${a.id} and ${b.id} overlap at one clinician`),
  )
}

/** What was told of a patient stays told, whatever else is told at the same moment. */
async function lost(model: Model, { deps }: TestWorld, visits: readonly Booking[]): Promise<string[]> {
  const of = (person: number) => visits.find(({ id }) => model.visits.some((v) => v.id === id && v.person === person))
  const asked = await Promise.all(
    [...model.discreet].map(async (person) => {
      const visit = of(person)
      const patient = visit && (await deps.store.read.patients.get(visit.patientId))
      return patient && patient.detail !== 'discreet' ? [`${patient.name} is written to openly again`] : []
    }),
  )
  return asked.flat()
}

/** What a key said was done, or a person reads it. */
async function unheard(model: Model, { deps, clock }: TestWorld): Promise<string[]> {
  const { read } = deps.store
  const found: string[] = []
  for (const { bookingId, visitAt, pressed, confirms } of model.pressed.splice(0)) {
    const booking = await read.bookings.get(bookingId)
    const isSame = booking?.state === 'booked' && booking.outcome === null && booking.visitAt.getTime() === visitAt
    if (!isSame || booking.visitAt <= clock.now()) continue
    if (confirms && !booking.confirmedAt) found.push('a visit that was confirmed by key is not confirmed')
    const calls = await read.followUps.list({ bookingId, limit: 50 })
    const offer = await read.offers.pending(bookingId)
    if (pressed.meaning === 'cannot-come' && !offer && calls.length === 0)
      found.push('nobody knows that a patient who said so by key cannot come')
  }
  const unacted = await read.replies.unacted(clock.now(), 50)
  return [...found, ...unacted.map(({ text }) => `"${text}" was kept and not acted on`)]
}

/** What a worker held when it died is taken up by the next: nothing is sent twice, nothing lies in nobody's hands. */
async function leftBehind({ world, worker }: Real): Promise<string[]> {
  const { read } = world.deps.store
  const ids = world.pocket.ledger().map(({ messageId }) => messageId)
  const twice = ids.filter((id, index) => ids.indexOf(id) !== index)
  const found = twice.map((id) => `${id} was sent twice`)
  if (!worker.hasTakenUp) return found
  for (const id of worker.held.splice(0)) {
    const message = (await read.messages.get(id))!
    if (message.state === 'sending') found.push(`${message.kind} lies in the hands of a worker that died`)
    if (message.code === 'claim-lost' && message.state === 'undelivered' && !(await isWithPerson(world, message)))
      found.push(`nobody is told that ${message.kind} may not have been sent`)
  }
  return found
}

/** Somebody calls: of a visit that is over there is nothing to make sure of, but that it was cancelled. */
async function isWithPerson({ deps }: TestWorld, message: Message): Promise<boolean> {
  const { bookingId, phone, kind } = message
  const { read } = deps.store
  const about = bookingId === null ? { phone } : { bookingId }
  const reasons = (await read.followUps.list({ ...about, limit: 50 })).map(({ reason }) => reason)
  if (MESSAGE_KINDS[kind].about === 'cancelled') return reasons.includes('text-lost')
  const booking = bookingId === null ? undefined : await read.bookings.get(bookingId)
  return reasons.includes(mustBeTold(message) ? 'send-unknown' : 'courtesy-unknown') || booking?.state === 'cancelled'
}
