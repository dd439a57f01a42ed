import { newBooking } from '../../src/flows/visits/new-booking.ts'
import type { Booking } from '../../src/domain/visits/booking.ts'
import { opening, type Slot } from '../../src/domain/visits/slot.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'
import type { Clinic } from '../../src/domain/region/clinic.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import type { Deps, ReplyRecord, Tx } from '../../src/flows/ports/deps.ts'
import { newMessage } from '../../src/flows/messages/new-message.ts'
import { openFollowUp } from '../../src/flows/calls/follow-ups.ts'

export const VISITS = 10_000
const BATCH = 500
/** Spread from two months ago to four months ahead: some 55 visits a day, as in a region's largest clinic. */
const FIRST_DAY = -60
const DAYS = 180
const MINUTE = 60_000
const FIRST = [
  'Marit',
  'Tova',
  'Isaura',
  'Brenna',
  'Odile',
  'Sunniva',
  'Halyna',
  'Jasleen',
  'Corisande',
  'Ingeborg',
  'Perpetua',
  'Yvaine',
]
const LAST = ['Quillon', 'Brandle', 'Skerrow', 'Tarnley', 'Ashquay', 'Fenwick', 'Oldmarsh', 'Penhale']

/**
 * Writes 10,000 visits with their patients, messages, times, replies and follow-ups, all invented, through the records.
 */
export async function fillClinic(
  deps: Deps,
  clinic: Clinic,
): Promise<{ patientId: string; visitId: string; replyId: string }> {
  let last = { patientId: '', visitId: '', replyId: '' }
  for (let from = 0; from < VISITS; from += BATCH) {
    await deps.store.transact(async (tx) => {
      for (let index = from; index < from + BATCH; index++) last = (await addVisit(tx, deps, clinic, index)) ?? last
    })
  }
  await addOpenings(deps, clinic)
  return last
}

async function addVisit(
  tx: Tx,
  deps: Deps,
  clinic: Clinic,
  index: number,
): Promise<{ patientId: string; visitId: string; replyId: string } | null> {
  const now = deps.clock.now()
  const patient = patientOf(deps, clinic, index)
  const booking = bookingOf(deps, clinic, patient, index)
  await tx.patients.insert(patient)
  await tx.bookings.insert(booking)
  await tx.slots.take(
    { id: deps.newId('o'), clinicId: clinic.id, clinician: booking.clinician, startsAt: booking.visitAt },
    booking,
    now,
  )
  await tx.messages.insert(messagesOf(deps, clinic, patient, booking))
  if (index % 40 === 0) await openFollowUp(tx, deps, { clinic, patient, booking }, 'badly-timed', { why: 'Move.' })
  if (index % 4 !== 0) return null
  const reply = replyOf(deps, patient, booking, index)
  await tx.replies.keep(reply)
  return { patientId: patient.id, visitId: booking.id, replyId: reply.id }
}

/** Numbers are spread over the range reserved for fiction; many patients share one, which is the harder case. */
function patientOf(deps: Deps, clinic: Clinic, index: number): Patient {
  const name = `${FIRST[index % FIRST.length]} ${LAST[Math.floor(index / FIRST.length) % LAST.length]} ${index}`
  const phone = `+1${200 + (index % 700)}55501${String(Math.floor(index / 700) % 100).padStart(2, '0')}`
  return {
    id: deps.newId('p'),
    clinicId: clinic.id,
    name,
    phone,
    language: 'en',
    channel: 'sms',
    detail: 'full',
    cycle: {
      status: 'cycling',
      lmp: `2026-02-${String(10 + (index % 18)).padStart(2, '0')}`,
      usualCycleDays: 26 + (index % 6),
    },
  }
}

function bookingOf(deps: Deps, clinic: Clinic, patient: Patient, index: number): Booking {
  const visitAt = new Date(
    deps.clock.now().getTime() + ((FIRST_DAY + (index % DAYS)) * 1440 + Math.floor(index / DAYS) * 7) * MINUTE,
  )
  const draft = newBooking({
    id: deps.newId('b'),
    patientId: patient.id,
    clinicId: clinic.id,
    clinician: `room ${index % 3}`,
    protocol: 'liquid-based-cytology',
    visitAt,
    // Seven minutes apart, in three rooms.
    minutes: 20,
    zone: clinic.zone,
    createdAt: deps.clock.now(),
  })
  return { ...draft, planRevision: 1, lapses: index % 50 === 0 ? ['used a cream'] : [] }
}

function messagesOf(deps: Deps, clinic: Clinic, patient: Patient, booking: Booking): Message[] {
  return (['confirmation', 'prep', 'day-before'] as const).map((kind, step) => {
    const sendAt = new Date(booking.visitAt.getTime() - (3 - step) * 1440 * MINUTE)
    const past = sendAt < deps.clock.now()
    const message = newMessage(
      deps,
      { clinic, patient, booking },
      { kind, sendAt, notAfter: booking.visitAt, unsolicited: step > 0, revision: 1 },
    )
    return past
      ? {
          ...message,
          state: 'delivered',
          sentAt: sendAt,
          endedAt: sendAt,
          text: 'Harbour Clinic: a text of about the usual length, so that opening it takes its usual time.',
        }
      : message
  })
}

function replyOf(deps: Deps, patient: Patient, booking: Booking, index: number): ReplyRecord {
  const receivedAt = new Date(deps.clock.now().getTime() - index * MINUTE)
  const id = deps.newId('t')
  return {
    id,
    clinicId: booking.clinicId,
    gateway: 'pocket',
    key: id,
    phone: patient.phone,
    text: 'is it ok to come a little later',
    receivedAt,
    bookingId: booking.id,
    patientId: patient.id,
    reading: { meaning: 'unclear', confidence: 0.4, words: [] },
    done: 'unclear',
  }
}

async function addOpenings(deps: Deps, clinic: Clinic): Promise<void> {
  const openings = Array.from({ length: 1000 }, (_, index): Slot => {
    const startsAt = new Date(deps.clock.now().getTime() + (1440 + index * 97) * MINUTE)
    const place = { id: deps.newId('o'), clinicId: clinic.id, clinician: 'room 9', startsAt }
    return opening(place)
  })
  await deps.store.transact((tx) => tx.slots.add(openings))
}
