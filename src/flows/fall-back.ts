import type { Message } from '../domain/message.ts'
import { nextAllowed } from '../domain/prep/sending-hours.ts'
import type { Channel } from '../domain/texts/kinds.ts'
import type { Deps, Tx } from './ports.ts'
import { newMessage, openFollowUp } from './records-made.ts'

/** Worth a second channel, or a person's call. The rest is a courtesy. */
const WORTH_IT: ReadonlySet<string> = new Set(['prep', 'late-prep', 'moved', 'offer', 'cannot-offer', 'alarm'])

/** She was not reached: another channel she agreed to, while there is time, else the desk's call list. */
export async function fallBack(tx: Tx, deps: Deps, message: Message): Promise<void> {
  if (!WORTH_IT.has(message.kind)) return
  const booking = message.bookingId === null ? null : ((await tx.bookings.get(message.bookingId)) ?? null)
  const patient = message.patientId === null ? undefined : await tx.patients.get(message.patientId)
  const clinic = (await tx.clinics.get(message.clinicId))!
  if (!patient || (await tx.optOuts.has(message.phone))) return
  const other = await otherChannel(tx, deps, message, patient.id)
  const sendAt = nextAllowed(deps.clock.now(), booking?.zone ?? clinic.zone, clinic.settings.hours)
  if (!other || message.fallbackOf || message.revision === null || sendAt >= message.notAfter) {
    return openFollowUp(tx, deps, { booking, patient, clinic }, 'not-delivered', { kind: message.kind })
  }
  const { kind, notAfter, unsolicited, revision, visitAt, choices, answer } = message
  await tx.messages.insert([
    newMessage(deps, { clinic, patient, booking }, { kind, sendAt, notAfter, unsolicited, revision, visitAt, choices, answer, channel: other, fallbackOf: message.id }),
  ])
}

async function otherChannel(tx: Tx, deps: Deps, message: Message, patientId: string): Promise<Channel | undefined> {
  const carried = deps.gateways.get(message.gateway)?.channels ?? []
  const agreed = (await tx.patients.consents(patientId)).map(({ channel }) => channel)
  return agreed.find((channel) => channel !== message.channel && carried.includes(channel))
}
