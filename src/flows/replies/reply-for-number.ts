import type { Patient } from '../../domain/patients/patient.ts'
import { decideForNumber } from '../../domain/replies/decide.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { sayToNumber, type Done, type Conversation } from './conversation.ts'
import { supersedeOffer } from '../visits/move-visit.ts'
import type { Deps, OptOut, Tx } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'
import { openFollowUp } from '../calls/follow-ups.ts'

/** Does what follows from a reply that concerns the number. */
export async function replyForNumber(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  const { reply, patients, visits: talks, clinic } = hearing
  const effects = decideForNumber(reading)
  const talk = talks[0]
  for (const effect of effects) {
    if (effect.do === 'opt-out') await optOut(tx, deps, hearing, effect.reason)
    if (effect.do === 'opt-in') await optIn(tx, deps, hearing)
    if (effect.do === 'report-death') await reportDeath(tx, deps, hearing)
    if (effect.do === 'say') await sayToNumber(tx, deps, hearing, effect.kind)
    if (effect.do === 'follow-up') {
      const about = { clinic, patient: talk?.patient ?? patients[0] ?? null, booking: talk?.booking ?? null }
      await openFollowUp(tx, deps, { ...about, phone: reply.phone }, effect.reason, { words: reply.text })
    }
  }
  return { bookingId: talk?.booking.id ?? null, done: effects[0]?.do === 'say' ? effects[0].kind : reading.meaning }
}

/** Everything to the number ends at once, at every clinic, also what is already queued; every visit not yet told of gets a call. */
async function optOut(tx: Tx, deps: Deps, hearing: Conversation, reason: OptOut['reason']): Promise<void> {
  const { reply, everybody } = hearing
  await tx.optOuts.add(reply.phone, reason, deps.clock.now())
  for (const patient of everybody) await silence(tx, deps, hearing, patient, 'opted-out')
  await tx.messages.withdrawUnsent({ phone: reply.phone }, 'opted-out', deps.clock.now())
  if (reason === 'wrong-person' && hearing.visits.length === 0) await callAbout(tx, deps, hearing, 'wrong-person')
  deps.notice('opted-out', { reply: reply.id })
}

/** Nothing more goes to whoever was said to have died; others at the number are told as before. */
async function reportDeath(tx: Tx, deps: Deps, hearing: Conversation): Promise<void> {
  // Who is meant cannot be told where several are reached by the number: until a person has looked, none of them is written to.
  for (const each of hearing.patients) {
    const patient = await tx.patients.update(each.id, { reportedDead: true })
    await silence(tx, deps, hearing, patient, 'reported-dead')
    await tx.messages.withdrawUnsent({ patient: patient.id }, 'died', deps.clock.now())
  }
  if (hearing.visits.length === 0) await callAbout(tx, deps, hearing, 'died')
}

/** Offers go back and plans end; the plan itself tells the desk which visits nobody tells of now. */
async function silence(tx: Tx, deps: Deps, { reply, clinic }: Conversation, patient: Patient, what: string): Promise<void> {
  // What was written to one clinic is not shown to another.
  const because = clinic?.id === patient.clinicId ? { words: reply.text } : {}
  for (const { id } of await followPatient(tx, deps, patient.id, { because })) {
    await supersedeOffer(tx, id)
    await noteEvent(tx, deps, id, what, 'patient')
  }
}

async function callAbout(tx: Tx, deps: Deps, { reply, clinic, patients }: Conversation, reason: 'wrong-person' | 'died'): Promise<void> {
  const about = { clinic, patient: patients[0] ?? null, booking: null, phone: reply.phone }
  await openFollowUp(tx, deps, about, reason, { words: reply.text })
}

/** Writing START is consent, in the patient's own words, to the clinic that it was written to. */
async function optIn(tx: Tx, deps: Deps, { reply, patients, everybody }: Conversation): Promise<void> {
  await tx.optOuts.remove(reply.phone)
  const consent = { channel: 'sms', recordedBy: 'patient', recordedAt: reply.receivedAt, wording: reply.text.slice(0, 100) } as const
  for (const { id } of patients) await tx.patients.addConsent(id, consent)
  for (const { id } of everybody) await followPatient(tx, deps, id, { confirm: false })
}
