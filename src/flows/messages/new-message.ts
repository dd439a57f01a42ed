import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Message } from '../../domain/messages/message.ts'
import type { Channel, TextKind } from '../../domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Deps } from '../ports/deps.ts'
import type { Facts } from '../ports/traces.ts'

/** A new message, planned and not yet sent. */
export function newMessage(
  deps: Deps,
  about: { clinic: Clinic; patient: Patient; booking: Booking | null },
  message: Pick<Message, 'kind' | 'sendAt' | 'notAfter' | 'unsolicited'> & Partial<Message>,
): Message {
  const { clinic, patient, booking } = about
  return {
    id: deps.newId('m'),
    bookingId: booking?.id ?? null,
    patientId: patient.id,
    clinicId: clinic.id,
    phone: patient.phone,
    channel: channelOf(message.kind, patient),
    detail: patient.detail,
    language: patient.language,
    state: 'planned',
    revision: null,
    prompted: false,
    byHand: false,
    confirms: false,
    attempt: 0,
    visitAt: booking?.visitAt ?? null,
    choices: [],
    answer: null,
    gateway: clinic.settings.gateway,
    gatewayRef: null,
    text: null,
    claimedAt: null,
    sentAt: null,
    endedAt: null,
    code: null,
    fallbackOf: null,
    ...message,
  }
}

/** What does not go by e-mail, for an answer by text is waited for or it presses, is texted. */
const channelOf = (kind: TextKind, { channel }: Patient): Channel =>
  channel === 'email' && !MESSAGE_KINDS[kind].byMail ? 'sms' : channel

/** What a message says, and for how long that is worth saying: for another one that says it in its place. */
export const whatItSays = (message: Message) => {
  const { kind, notAfter, unsolicited, visitAt, choices, answer, byHand, confirms } = message
  return { kind, notAfter, unsolicited, visitAt, choices, answer, byHand, confirms }
}

/** The ids that say which message a notice is about, and for which visit, if for one. */
export function idsOf({ id, bookingId }: { id: string; bookingId?: string | null }): {
  message: string
  booking?: string
} {
  return { message: id, ...(bookingId && { booking: bookingId }) }
}

/** What may be told of a message to whoever follows what is done. */
export function factsOf({ id, bookingId, clinicId, attempt, kind, channel, language, gateway }: Message): Facts {
  return { message: id, booking: bookingId, clinic: clinicId, attempt, kind, channel, language, gateway }
}

const ANSWER_WORTH_MS = 12 * 3_600_000

/**
 * An answer to what the patient just wrote: at once, at any hour, outside the caps; worth little the
 * next day.
 */
export function newAnswer(
  deps: Deps,
  about: { clinic: Clinic; patient: Patient; booking: Booking | null },
  kind: TextKind,
  facts: Partial<Message> = {},
): Message {
  const now = deps.clock.now()
  const notAfter = new Date(now.getTime() + ANSWER_WORTH_MS)
  const prompted = { sendAt: now, notAfter, unsolicited: false, prompted: true }
  // Whatever the patient's usual channel is, this patient wrote: the answer is written too.
  return newMessage(deps, about, { kind, ...prompted, channel: 'sms', ...facts })
}
