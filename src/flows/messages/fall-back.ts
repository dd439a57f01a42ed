import { homeZone } from '../../domain/patients/home-zone.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Message } from '../../domain/messages/message.ts'
import { isPreparation, stillHolds } from '../../domain/messages/still-right.ts'
import { nextAllowed } from '../../domain/preparation/sending-hours.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { aboutLoss, lossOf, mustBeTold } from './leave-to-person.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { newMessage, whatItSays } from './new-message.ts'

/**
 * The patient was not reached: another channel that was agreed to, while there is time, else the
 * desk's call list. What stands in belongs to no plan: a new one must neither take it back nor say
 * the same beside it.
 */
export async function fallBack(tx: Tx, deps: Deps, message: Message): Promise<void> {
  // The rest is a courtesy: not worth a second channel, nor a person's call.
  if (!mustBeTold(message)) return
  const { bookingId, patientId, clinicId } = message
  // Locked, so that whoever plans the visit at this moment either sees this or is seen here.
  const booking = (bookingId !== null && (await tx.bookings.lock(bookingId))) || null
  const offer = booking ? await tx.offers.pending(booking.id) : undefined
  const patient = patientId === null ? undefined : await tx.patients.get(patientId)
  const clinic = (await tx.clinics.get(clinicId))!
  if (!patient || patient.reportedDead || !stillHolds(message, { booking, offer })) return
  if (isPlannedElsewhere(message, patient)) return
  const sendAt = nextAllowed(deps.clock.now(), homeZone({ booking, patient, clinic }), clinic.settings.hours)
  const about = { booking, patient, clinic }
  const other = await otherChannel(tx, deps, message, about, sendAt)
  if (!other || sendAt >= message.notAfter) {
    return openFollowUp(tx, deps, about, lossOf(message), aboutLoss(message))
  }
  const way = { sendAt, channel: other, fallbackOf: message.id }
  const standIn = newMessage(deps, about, { ...whatItSays(message), ...way })
  await tx.messages.insert([standIn])
}

/** The plan for the patient's present number says it there. */
function isPlannedElsewhere(message: Message, { phone }: Patient): boolean {
  return message.phone !== phone && isPreparation(message)
}

/**
 * Another way to the same number, where one reaches the patient and was agreed to until then, and this is the first
 * attempt at it.
 */
async function otherChannel(
  tx: Tx,
  deps: Deps,
  { kind, phone, channel: failed, gateway, fallbackOf, prompted }: Message,
  about: { booking: Booking | null; patient: Patient; clinic: Clinic },
  at: Date,
): Promise<Channel | undefined> {
  if (fallbackOf || prompted || phone !== about.patient.phone) return undefined
  const carried = deps.gateways.get(gateway)?.channels ?? []
  const able = carried.filter((each) => each !== failed && (each !== 'email' || MESSAGE_KINDS[kind].byMail))
  for (const channel of able) if ((await unreachableBy(tx, about, at, channel)) === null) return channel
  return undefined
}
