import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Obstacle } from '../../domain/patients/unreachable.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import type { Message } from '../../domain/messages/message.ts'
import { byHandFaults } from '../../domain/messages/texts/by-hand.ts'
import type { Language } from '../../domain/messages/texts/library.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { whenToTell } from './when-to-tell.ts'
import { wroteLately } from './wrote-lately.ts'
import { newAnswer, newMessage } from './new-message.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import { noteEvent } from '../visits/note-event.ts'
import { enqueueDue } from './enqueue-due.ts'

export interface HandWritten {
  patientId: string
  clinicId: string
  words: string
  by: string
}

/**
 * Sends what the desk wrote, under the clinic's name. To somebody who wrote within the last day it is an answer and
 * goes at once; otherwise it needs consent and a visit to come, waits for sending hours, and counts as a message of
 * the day.
 * @param language of the patient: what may not be texted is listed there
 * @returns `waiting` when it goes later
 * @throws bad-input, not-found, too-late (the patient wants no messages)
 */
export async function writeByHand(
  deps: Deps,
  { patientId, clinicId, words, by }: HandWritten,
  language: Language,
): Promise<'now' | 'waiting'> {
  const sendAt = await deps.store.transact(async (tx) => {
    const clinic = orNotFound(await tx.clinics.get(clinicId), 'clinic')
    const known = await tx.patients.get(patientId)
    const patient = orNotFound(known?.clinicId === clinic.id ? known : undefined, 'patient')
    const [fault] = byHandFaults(words, language, patient.detail)
    if (fault) badInput('words', fault)
    const booking = (await nextVisit(tx, deps, patient, clinic)) ?? null
    refuseUnreachable(await unreachableBy(tx, { patient, clinic, booking }, deps.clock.now(), 'sms'))
    const message = (await wroteLately(tx, deps, patient))
      ? newAnswer(deps, { patient, clinic, booking }, 'answer')
      : await unasked(tx, deps, { patient, clinic, booking })
    await tx.messages.insert([{ ...message, answer: words.trim(), byHand: true, detail: 'full', channel: 'sms' }])
    await noteEvent(tx, deps, message.bookingId, 'written-by-hand', by, { message: message.id })
    return message.sendAt
  })
  await enqueueDue(deps)
  deps.notice('written-by-hand', { patient: patientId })
  return sendAt > deps.clock.now() ? 'waiting' : 'now'
}

/** Consent is another matter: an answer to what the patient just wrote needs none. */
function refuseUnreachable(obstacle: Obstacle | null): void {
  if (!obstacle || obstacle.code === 'no-consent') return
  const { code, why = code === 'died' ? DIED : WANTS_NONE } = obstacle
  throw new Failure('too-late', { field: 'words', message: why })
}

const DIED = 'Somebody wrote that the patient has died. Look into the record and call.'
const WANTS_NONE = 'The patient wants no messages. Call.'

async function unasked(
  tx: Tx,
  deps: Deps,
  { patient, clinic, booking }: { patient: Patient; clinic: Clinic; booking: Booking | null },
): Promise<Message> {
  if (!booking) return badInput('words', 'The patient has no visit to come at this clinic. Call.')
  const about = { booking, patient, clinic }
  const { isTooLate, ...when } = whenToTell(deps, about)
  const obstacle = await unreachableBy(tx, about, when.sendAt, 'sms')
  if (obstacle) badInput('words', obstacle.why ?? 'The patient has not agreed to texts. Call.')
  if (isTooLate) badInput('words', 'There are no sending hours left before the visit. Call.')
  return newMessage(deps, about, { kind: 'answer', ...when, unsolicited: true })
}

async function nextVisit(tx: Tx, deps: Deps, { id }: Patient, clinic: Clinic): Promise<Booking | undefined> {
  return (
    await tx.bookings.list({ patientIds: [id], clinicId: clinic.id, from: deps.clock.now(), state: 'booked', limit: 1 })
  )[0]
}
