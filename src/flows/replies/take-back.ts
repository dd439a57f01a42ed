import type { FollowUp } from '../../domain/calls/follow-up.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { UNREACHABLE } from '../../domain/patients/unreachable.ts'
import { changesRefusal, refusalAfter } from '../../domain/replies/decide-for-number.ts'
import { loadVisit, orNotFound } from '../lookups.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import { leaveMoveToDesk, reopenOffer, supersedeOffer } from '../visits/offer-openings.ts'
import type { Conversation } from './conversation.ts'

/**
 * Takes back what acting on a reply has changed, where it still stands as that left it: what a later reply, the page or
 * the desk has changed since is newer. Plans follow; then the calls that the reply has opened are closed.
 */
export async function takeBack(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  reply: ReplyRecord,
  by: string,
): Promise<void> {
  const visit = hearing.visits.find(({ booking }) => booking.id === reply.bookingId)
  const changed = [
    ...(await reviseRefusal(tx, hearing, reply, deps.clock.now())),
    ...(await liftDeath(tx, reply)),
    ...(await restoreCycle(tx, reply)),
  ]
  if (visit) await unmark(tx, visit, reply)
  for (const id of new Set(changed)) await followPatient(tx, deps, id)
  if (visit) await takeBackOffer(tx, deps, visit, reply)
  for (const call of await tx.followUps.list({ replyId: reply.id, open: true, limit: 200 })) {
    if (!(await stillHolds(tx, deps, call)))
      await tx.followUps.close(call.id, by, 'meaning corrected', deps.clock.now())
  }
}

/** Why nobody may write to a patient may have been said by another reply too. */
async function stillHolds(tx: Tx, deps: Deps, { reason, patientId, bookingId, phone }: FollowUp): Promise<boolean> {
  if (!UNREACHABLE.has(reason)) return false
  const patient = patientId === null ? undefined : await tx.patients.get(patientId)
  if (patient) {
    const clinic = orNotFound(await tx.clinics.get(patient.clinicId), 'clinic')
    const booking = (bookingId !== null && (await tx.bookings.get(bookingId))) || null
    return (await unreachableBy(tx, { patient, clinic, booking }, deps.clock.now()))?.reason === reason
  }
  return phone !== null && (await tx.optOuts.get(phone))?.reason === reason
}

/**
 * What the number refuses by its other replies. A refusal that none of them explains stands, where it was there before
 * this reply: what explained it is not kept any more.
 * @returns whom that changes, by id
 */
async function reviseRefusal(
  tx: Tx,
  { everybody }: Conversation,
  { id, phone, reading, receivedAt }: ReplyRecord,
  at: Date,
): Promise<string[]> {
  if (!reading || !changesRefusal(reading)) return []
  const others = (await tx.replies.fromPhone(phone, new Date(0))).filter((other) => other.id !== id)
  const before = await tx.optOuts.get(phone)
  const after = refusalAfter(others.flatMap((other) => other.reading ?? []))
  if (after === (before?.reason ?? null)) return []
  if (after === null && before!.at < receivedAt) return []
  await tx.optOuts.remove(phone)
  if (after !== null) await tx.optOuts.add(phone, after, before?.at ?? receivedAt)
  if (before?.reason === 'wrong-person') await noteLifted(tx, everybody, phone, at)
  return everybody.map((patient) => patient.id)
}

/**
 * From now on it is asked whose number it is, and consent of before does not count: somebody there said that it was not
 * the patient's. Of whoever is reached elsewhere by now nobody said so.
 */
async function noteLifted(tx: Tx, everybody: readonly Patient[], phone: string, at: Date): Promise<void> {
  const since = at.toISOString()
  const doubted = { wrongPersonLifted: since, handsDoubt: { why: 'lifted', since } } as const
  for (const each of everybody) if (each.phone === phone) await tx.patients.update(each.id, doubted)
}

/** @returns who is not reported dead any more, by id */
async function liftDeath(tx: Tx, reply: ReplyRecord): Promise<string[]> {
  const lifted: string[] = []
  for (const id of reply.did?.dead ?? []) {
    const patient = await tx.patients.get(id)
    if (!patient || (await isSaidElsewhere(tx, patient, reply))) continue
    await tx.patients.update(id, { reportedDead: false })
    lifted.push(id)
  }
  return lifted
}

async function isSaidElsewhere(tx: Tx, { id, phone }: Patient, reply: ReplyRecord): Promise<boolean> {
  const numbers = new Set([reply.phone, phone])
  const replies = (await Promise.all([...numbers].map((number) => tx.replies.fromPhone(number, new Date(0))))).flat()
  return replies.some((other) => other.id !== reply.id && other.did?.dead?.includes(id))
}

/** @returns whose cycle it is, by id */
async function restoreCycle(tx: Tx, { bookingId, did }: ReplyRecord): Promise<string[]> {
  if (!did?.cycle || bookingId === null) return []
  const booking = await tx.bookings.get(bookingId)
  const patient = booking && (await tx.patients.get(booking.patientId))
  const isAsLeft = patient && JSON.stringify(patient.cycle) === JSON.stringify(did.cycle.after)
  if (!isAsLeft) return []
  await tx.patients.update(patient.id, { cycle: did.cycle.before })
  return [patient.id]
}

/** The same words may have been written twice. */
function withoutOne(all: readonly string[], words: string | undefined): string[] {
  const at = words === undefined ? -1 : all.indexOf(words)
  return all.filter((_, index) => index !== at)
}

async function unmark(tx: Tx, { booking }: VisitContext, { did }: ReplyRecord): Promise<void> {
  const isConfirmedByIt = did?.confirmedAt !== undefined && booking.confirmedAt?.toISOString() === did.confirmedAt
  const lapses = withoutOne(booking.lapses, did?.lapse)
  const needs = withoutOne(booking.needs, did?.need)
  await tx.bookings.update({ ...booking, lapses, needs, ...(isConfirmedByIt && { confirmedAt: null }) })
}

/**
 * The offer that the reply led to, unless something has come of it since; or its choice, unless the desk has decided on
 * it.
 */
async function takeBackOffer(tx: Tx, deps: Deps, visit: VisitContext, { did, done }: ReplyRecord): Promise<void> {
  const pending = await tx.offers.pending(visit.booking.id)
  if (!pending || pending.id !== did?.offerId) return
  if (done === 'waiting' && pending.state === 'waiting') await reopenOffer(tx, deps, visit, pending)
  if (done !== 'waiting' && pending.state === 'open') await supersedeOffer(tx, deps, visit.booking.id)
}

/**
 * Older offers had ended by the reply. Where nothing else is on offer now, what they were about is left to the desk.
 */
export async function reopenMatters(tx: Tx, deps: Deps, { did }: ReplyRecord): Promise<void> {
  for (const { bookingId, visitAt, reason } of did?.ended ?? []) {
    const booking = await tx.bookings.get(bookingId)
    const isAhead = booking?.state === 'booked' && booking.visitAt > deps.clock.now()
    if (!isAhead || booking.visitAt.toISOString() !== visitAt || (await tx.offers.pending(bookingId))) continue
    await leaveMoveToDesk(tx, deps, await loadVisit(tx, booking), reason)
  }
}
