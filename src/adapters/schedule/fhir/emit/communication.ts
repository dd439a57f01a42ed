import type { Message, MessageState } from '../../../../domain/messages/message.ts'
import type { Channel } from '../../../../domain/messages/texts/kinds.ts'
import { toFhirId } from './fhir-id.ts'
import { instantOf, type Coded, type Written } from './resource.ts'

/** R4 value set `event-status`. */
const STATUSES: Readonly<Record<MessageState, 'preparation' | 'in-progress' | 'completed' | 'not-done'>> = {
  planned: 'preparation',
  queued: 'preparation',
  sending: 'in-progress',
  sent: 'completed',
  delivered: 'completed',
  undelivered: 'not-done',
  failed: 'not-done',
  expired: 'not-done',
  withdrawn: 'not-done',
}

const REASONS = 'http://terminology.hl7.org/CodeSystem/communication-not-done-reason'
const MODES = 'http://terminology.hl7.org/CodeSystem/v3-ParticipationMode'

const MEDIA: Readonly<Record<Channel, Coded>> = {
  // The table has no code for a text to a telephone.
  sms: { text: 'SMS' },
  voice: { coding: [{ system: MODES, code: 'PHONE' }], text: 'Voice call' },
  email: { coding: [{ system: MODES, code: 'EMAILWRIT' }], text: 'E-mail' },
}

/**
 * R4 `Communication`: how a message of a visit stands. What it says, to whom it went, and why it was not sent where
 * that tells of the patient, is not told.
 * @param objectedAt when the patient asked for no more messages; null = did not
 */
export function communicationOf(message: Message & { bookingId: string }, objectedAt: Date | null): Written {
  const { id, bookingId, channel, state, sentAt, endedAt } = message
  return {
    resourceType: 'Communication',
    id: toFhirId(id),
    status: STATUSES[state],
    ...(STATUSES[state] === 'not-done' && { statusReason: reasonOf(message, objectedAt) }),
    medium: [MEDIA[channel]],
    about: [{ reference: `Appointment/${toFhirId(bookingId)}` }],
    ...(sentAt && { sent: instantOf(sentAt) }),
    ...(state === 'delivered' && endedAt && { received: instantOf(endedAt) }),
  }
}

function reasonOf({ state, endedAt }: Message, objectedAt: Date | null): Coded {
  const reason = (coded: string, text: string): Coded => ({ coding: [{ system: REASONS, code: coded }], text })
  // What was planned is withdrawn by the plan that follows, which is empty.
  if (state === 'withdrawn' && objectedAt !== null && endedAt !== null && endedAt >= objectedAt)
    return reason('patient-objection', 'The patient asked for no more messages.')
  if (state === 'withdrawn') return { text: 'No longer to be sent.' }
  if (state === 'expired') return { text: 'Not sent in time.' }
  return state === 'failed'
    ? reason('system-error', 'It could not be sent.')
    : reason('unknown', 'It did not arrive, or nobody knows whether it did.')
}
