import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Message } from '../../domain/messages/message.ts'
import { nextAllowed } from '../../domain/preparation/sending-hours.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { lossOf, mustBeTold } from './claim-messages.ts'
import { unreachableBy } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newMessage } from './new-message.ts'
import { openFollowUp } from '../calls/follow-ups.ts'

/** The patient was not reached: another channel that was agreed to, while there is time, else the desk's call list. */
export async function fallBack(tx: Tx, deps: Deps, message: Message): Promise<void> {
  // The rest is a courtesy: not worth a second channel, nor a person's call.
  if (!mustBeTold(message)) return
  const booking = message.bookingId === null ? null : ((await tx.bookings.get(message.bookingId)) ?? null)
  const patient = message.patientId === null ? undefined : await tx.patients.get(message.patientId)
  const clinic = (await tx.clinics.get(message.clinicId))!
  if (!patient || patient.reportedDead || isBehind(message, booking, patient)) return
  const other = (await unreachableBy(tx, patient)) === null ? await otherChannel(tx, deps, message, patient.id) : undefined
  const sendAt = nextAllowed(deps.clock.now(), booking?.zone ?? clinic.zone, clinic.settings.hours)
  if (!other || message.fallbackOf || message.prompted || sendAt >= message.notAfter) {
    return openFollowUp(tx, deps, { booking, patient, clinic }, lossOf(message), { kind: message.kind })
  }
  const { kind, notAfter, unsolicited, visitAt, choices, answer, byHand } = message
  // The plan of today stands for it, or its claim would take it for a leftover of an older one.
  const revision = message.revision === null ? null : booking!.planRevision
  const facts = { kind, sendAt, notAfter, unsolicited, revision, visitAt, choices, answer, byHand, channel: other, fallbackOf: message.id }
  await tx.messages.insert([newMessage(deps, { clinic, patient, booking }, facts)])
}

/** The visit has moved, or the patient is reached at another number since: the plan made then says what is to be said. */
function isBehind({ revision, visitAt, phone }: Message, booking: Booking | null, patient: Patient): boolean {
  if (phone !== patient.phone) return true
  return revision !== null && (booking?.state !== 'booked' || visitAt?.getTime() !== booking.visitAt.getTime())
}

async function otherChannel(tx: Tx, deps: Deps, message: Message, patientId: string): Promise<Channel | undefined> {
  const carried = deps.gateways.get(message.gateway)?.channels ?? []
  const agreed = (await tx.patients.consents(patientId)).map(({ channel }) => channel)
  return agreed.find((channel) => channel !== message.channel && carried.includes(channel))
}
