import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import type { Message } from '../../domain/messages/message.ts'
import { nextAllowed } from '../../domain/preparation/sending-hours.ts'
import { byHandFaults } from '../../domain/messages/texts/by-hand.ts'
import type { Language } from '../../domain/messages/texts/library.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newAnswer, newMessage } from './new-message.ts'
import { noteEvent } from '../visits/note-event.ts'
import { enqueueDue } from './enqueue-due.ts'

const DAY_MS = 86_400_000

export interface HandWritten {
  patientId: string
  clinicId: string
  words: string
  by: string
}

/**
 * Sends what the desk wrote, under the clinic's name. To somebody who wrote within the last day it is an answer and goes at
 * once; otherwise it needs her consent and a visit to come, waits for sending hours, and counts as a message of the day.
 * @param language of the patient: what may not be texted is listed there
 * @returns `waiting` when it goes later
 * @throws bad-input, not-found, too-late (she wants no messages)
 */
export async function writeByHand(deps: Deps, { patientId, clinicId, words, by }: HandWritten, language: Language): Promise<'now' | 'waiting'> {
  const sendAt = await deps.store.transact(async (tx) => {
    const clinic = orNotFound(await tx.clinics.get(clinicId), 'clinic')
    const known = await tx.patients.get(patientId)
    const patient = orNotFound(known?.clinicId === clinic.id ? known : undefined, 'patient')
    const [fault] = byHandFaults(words, language, patient.detail)
    if (fault) badInput('words', fault)
    if (patient.reportedDead) throw new Failure('too-late', { field: 'words', message: 'Somebody wrote that the patient has died. Look into the record and call.' })
    if (await tx.optOuts.has(patient.phone)) throw new Failure('too-late', { field: 'words', message: 'The patient wants no messages. Call.' })
    const message = (await wroteLately(tx, deps, patient)) ? await answering(tx, deps, patient, clinic) : await unasked(tx, deps, patient, clinic)
    await tx.messages.insert([{ ...message, answer: words.trim(), byHand: true, detail: 'full', channel: 'sms' }])
    await noteEvent(tx, deps, message.bookingId, 'written-by-hand', by, { message: message.id })
    return message.sendAt
  })
  await enqueueDue(deps)
  deps.notice('written-by-hand', { patient: patientId })
  return sendAt > deps.clock.now() ? 'waiting' : 'now'
}

/** To this clinic: what was written to another one gives nobody here leave to answer. */
async function wroteLately(tx: Tx, deps: Deps, { phone, clinicId }: Patient): Promise<boolean> {
  const replies = await tx.replies.fromPhone(phone, new Date(deps.clock.now().getTime() - DAY_MS))
  return replies.some((reply) => reply.clinicId === clinicId)
}

async function answering(tx: Tx, deps: Deps, patient: Patient, clinic: Clinic): Promise<Message> {
  return newAnswer(deps, { patient, clinic, booking: (await nextVisit(tx, deps, patient, clinic)) ?? null }, 'answer')
}

async function unasked(tx: Tx, deps: Deps, patient: Patient, clinic: Clinic): Promise<Message> {
  const booking = await nextVisit(tx, deps, patient, clinic)
  const agreed = (await tx.patients.consents(patient.id)).some(({ channel }) => channel === 'sms')
  if (!booking) return badInput('words', 'The patient has no visit to come at this clinic. Call.')
  if (!agreed) return badInput('words', 'The patient has not agreed to texts. Call.')
  const sendAt = nextAllowed(deps.clock.now(), booking.zone, clinic.settings.hours)
  const notAfter = new Date(Math.min(sendAt.getTime() + DAY_MS, booking.visitAt.getTime()))
  if (sendAt >= notAfter) badInput('words', 'There are no sending hours left before the visit. Call.')
  return newMessage(deps, { booking, patient, clinic }, { kind: 'answer', sendAt, notAfter, unsolicited: true })
}

async function nextVisit(tx: Tx, deps: Deps, { id }: Patient, clinic: Clinic): Promise<Booking | undefined> {
  return (await tx.bookings.list({ patientIds: [id], clinicId: clinic.id, from: deps.clock.now(), state: 'booked', limit: 1 }))[0]
}
