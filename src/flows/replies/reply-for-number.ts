import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { decideForNumber, type Refusal } from '../../domain/replies/decide-for-number.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { whyKept } from '../../domain/visits/move-limit.ts'
import { isNear } from '../../domain/visits/near.ts'
import type { Effect } from '../../domain/replies/effects.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { withoutOldWish } from './latest-wish.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { unsettledDoubt } from '../patients/record-consent.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { orNotFound } from '../lookups.ts'
import type { Unreachable } from '../../domain/patients/unreachable.ts'
import type { Deps, ReplyEffects, ReplyRecord, Tx } from '../ports/deps.ts'
import { isPregnant, type VisitContext } from '../visit-context.ts'
import { leaveMoveToDesk, supersedeOffer } from '../visits/offer-openings.ts'
import { noteEvent } from '../visits/note-event.ts'
import {
  becauseOf,
  endedOffers,
  nearest,
  noteWords,
  sayToNumber,
  type Conversation,
  type Done,
} from './conversation.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'

/** Why nobody tells the patients of a number that refuses. */
export const UNREACHABLE_BY: Record<Refusal, Unreachable> = { stop: 'opted-out', 'wrong-person': 'wrong-person' }

/** Does what follows from a reply that concerns the number. */
export async function replyForNumber(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  const { effects, isOld } = await effectsOn(tx, hearing, reading)
  if (isOld) return { bookingId: null, done: 'outdated', did: {} }
  let did: ReplyEffects = {}
  for (const effect of effects) did = { ...did, ...(await carryOutEffect(tx, deps, hearing, effect)) }
  const ended = await endedOffers(tx, hearing)
  const bookingId = hearing.visits[0]?.booking.id ?? null
  return {
    bookingId,
    done: wordFor(effects[0]) ?? reading.meaning,
    did: { ...did, ...(ended.length > 0 && { ended }) },
  }
}

/** What follows, by what the number has refused before. `isOld`: a newer word of the number has overtaken all of it. */
export async function effectsOn(
  tx: Tx,
  hearing: Conversation,
  reading: Reading,
): Promise<{ effects: Effect[]; isOld: boolean }> {
  const { reply, lastAsked: asked, visits, patients } = hearing
  const { booking } = nearest(hearing)
  const refused = (await tx.optOuts.get(reply.phone))?.reason ?? null
  const decided = decideForNumber(reading, {
    ...{ refused, asked },
    // Of the visit that an answer would name.
    isNear: booking !== null && isNear(booking, reply.receivedAt),
    isPregnant: visits.some(isPregnant) || patients.some(({ cycle }) => cycle.status === 'pregnant'),
    mayBePutOff: visits.every(({ booking }) => whyKept(booking) === null),
  })
  const effects = await withoutOldWish(tx, reply, decided)
  return { effects, isOld: effects.length === 0 && decided.length > 0 }
}

function wordFor(first: Effect | undefined): string | undefined {
  if (first?.do === 'say') return first.kind
  return first?.do === 'follow-up' ? first.reason : undefined
}

async function carryOutEffect(tx: Tx, deps: Deps, hearing: Conversation, effect: Effect): Promise<ReplyEffects> {
  if (effect.do === 'opt-out') await optOut(tx, deps, hearing, effect.reason)
  if (effect.do === 'opt-in') await optIn(tx, deps, hearing)
  if (effect.do === 'report-death') return reportDeath(tx, deps, hearing)
  if (effect.do === 'follow-up') await openFollowUp(tx, deps, nearest(hearing), effect.reason, becauseOf(hearing.reply))
  if (effect.do === 'note-need') return noteNeed(tx, hearing)
  if (effect.do === 'say' && !(await sayToNumber(tx, deps, hearing, inPlaceOf(effect.kind, hearing))))
    await unanswered(tx, deps, hearing, effect)
  return {}
}

/** Who asks who we are waits for an answer; most else has been done, or has a call of its own. */
async function unanswered(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  { kind }: Extract<Effect, { do: 'say' }>,
): Promise<void> {
  const about = nearest(hearing)
  if (MESSAGE_KINDS[kind].unanswered === 'call' && about.patient)
    await openFollowUp(tx, deps, about, 'unclear-reply', becauseOf(hearing.reply))
}

/** Nobody is asked to keep a visit that there is none of. */
function inPlaceOf(kind: TextKind, { visits }: Conversation): TextKind {
  return kind === 'clinician-calls' && visits.length === 0 ? 'unclear' : kind
}

/** Beside the nearest visit, where only one patient can have meant it. */
async function noteNeed(tx: Tx, { reply, visits, patients }: Conversation): Promise<ReplyEffects> {
  const [visit] = visits
  if (!visit || patients.length !== 1) return {}
  return { need: (await noteWords(tx, visit.booking, reply, 'needs')).words }
}

/**
 * Everything to the number ends at once, at every clinic, also what is already queued; every visit not yet told of gets
 * a call.
 */
async function optOut(tx: Tx, deps: Deps, hearing: Conversation, refusal: Refusal): Promise<void> {
  const { reply, everybody, patients } = hearing
  await tx.optOuts.add(reply.phone, refusal, deps.clock.now())
  const followed = new Map<string, number>()
  for (const { id } of everybody) followed.set(id, await silence(tx, deps, hearing, id, UNREACHABLE_BY[refusal]))
  await tx.messages.withdrawUnsent({ phone: reply.phone }, 'opted-out', deps.clock.now())
  const isCalled = patients.some(({ id }) => followed.get(id)! > 0)
  if (refusal === 'wrong-person' && !isCalled) await callAbout(tx, deps, hearing, 'wrong-person')
  deps.notice('opted-out', { reply: reply.id })
}

/** Nothing more goes to whoever was said to have died; others at the number are told as before. */
async function reportDeath(tx: Tx, deps: Deps, hearing: Conversation): Promise<ReplyEffects> {
  let visits = 0
  // Who is meant cannot be told where several are reached by the number: until a person has looked, none of them is
  // written to.
  for (const { id } of hearing.patients) {
    const patient = await tx.patients.update(id, { reportedDead: true })
    visits += await silence(tx, deps, hearing, patient.id, 'died')
    await tx.messages.withdrawUnsent({ patient: patient.id }, 'died', deps.clock.now())
  }
  if (visits === 0) await callAbout(tx, deps, hearing, 'died')
  return { dead: hearing.patients.map(({ id }) => id) }
}

/** Plans end; the plan itself tells the desk which visits nobody tells of now. @returns how many visits are to come */
async function silence(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  patientId: string,
  why: Unreachable,
): Promise<number> {
  const patient = orNotFound(await tx.patients.get(patientId), 'patient')
  const clinic = orNotFound(await tx.clinics.get(patient.clinicId), 'clinic')
  const because = becauseAt(hearing, clinic)
  const visits = await followPatient(tx, deps, patientId, { because })
  for (const booking of visits) {
    await endOffer(tx, deps, { booking, patient, clinic }, why, because)
    await noteEvent(tx, deps, booking.id, why === 'died' ? 'reported-dead' : 'opted-out', 'patient')
  }
  return visits.length
}

/** What was written to one clinic is not shown to another. */
export function becauseAt({ clinic, reply }: Conversation, { id }: Clinic): Record<string, unknown> {
  return clinic?.id === id ? becauseOf(reply) : {}
}

/**
 * Nobody is asked for a number any more. A choice that waits for the desk stands, unless somebody else may have made
 * it.
 */
async function endOffer(
  tx: Tx,
  deps: Deps,
  visit: VisitContext,
  why: Unreachable,
  because: Record<string, unknown>,
): Promise<void> {
  const pending = await tx.offers.pending(visit.booking.id)
  if (!pending || (pending.state === 'waiting' && why === 'opted-out')) return
  await supersedeOffer(tx, deps, visit.booking.id)
  // Nobody is to be asked for another time for a patient who may have died: the call about that comes first.
  if (why !== 'died') await leaveMoveToDesk(tx, deps, visit, pending.reason, because)
}

/** No visit to come has brought it on the call list. */
async function callAbout(tx: Tx, deps: Deps, hearing: Conversation, reason: 'wrong-person' | 'died'): Promise<void> {
  await openFollowUp(tx, deps, nearest(hearing), reason, becauseOf(hearing.reply))
}

/** START takes the number's refusal back, and all who are reached there are planned for anew. */
async function optIn(tx: Tx, deps: Deps, { reply, clinic, patients, everybody }: Conversation): Promise<void> {
  await tx.optOuts.remove(reply.phone)
  for (const patient of patients) await agree(tx, deps, reply, clinic!, patient)
  for (const { id } of everybody) await followPatient(tx, deps, id, { confirm: false })
}

/**
 * Writing START is consent of whoever reads the messages, in the own words, to the clinic that it was written to. Where
 * the number may have changed hands, by all that was seen before, it may be a stranger's: a person asks first.
 */
async function agree(tx: Tx, deps: Deps, reply: ReplyRecord, clinic: Clinic, patient: Patient): Promise<void> {
  const { id, receiver } = patient
  const consents = await tx.patients.consents(id)
  const handsDoubt = await unsettledDoubt(tx, deps, patient, consents, clinic, reply.receivedAt)
  if (handsDoubt) return void (await tx.patients.update(id, { handsDoubt }))
  const givenBy = receiver ? 'receiver' : 'patient'
  const told = { channel: 'sms', recordedAt: reply.receivedAt, wording: reply.text.slice(0, 100) } as const
  await tx.patients.addConsent(id, { ...told, recordedBy: givenBy, givenBy })
}
