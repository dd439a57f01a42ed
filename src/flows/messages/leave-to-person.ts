import type { Booking } from '../../domain/visits/booking.ts'
import type { Message } from '../../domain/messages/message.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { Refusal } from './refusal.ts'

interface About {
  booking: Booking | null
  patient: Patient | null
  clinic: Clinic
}

/** What the desk wrote matters always: whoever wrote it believes that it is told. */
export const mustBeTold = ({ kind, byHand }: Message) => byHand || MESSAGE_KINDS[kind].lost === 'call'

/** Why the desk must call when this did not arrive. That a visit is cancelled is no end of such a call. */
export const lossOf = ({ byHand, kind }: Message) =>
  byHand || MESSAGE_KINDS[kind].about === 'cancelled' ? 'text-lost' : 'not-delivered'

/** What such a call says of the message: which it was, also where another stood in for it. */
export const aboutLoss = ({ id, kind, fallbackOf }: Message) => ({ kind, message: fallbackOf ?? id })

/** A message that mattered was never sent: somebody must call. */
export async function followUpIfImportant(tx: Tx, deps: Deps, message: Message, about: About): Promise<void> {
  if (mustBeTold(message)) await openFollowUp(tx, deps, about, lossOf(message), aboutLoss(message))
}

/** What was not sent, and why, is left to a person where it mattered. */
export async function leaveUnsent(
  tx: Tx,
  deps: Deps,
  message: Message,
  about: About,
  { obstacle }: Refusal,
): Promise<void> {
  const why = obstacle?.why
  // Of a plan: the plan would have said so, had it been so then.
  if (why && message.revision !== null) return openFollowUp(tx, deps, about, obstacle.reason, { why })
  if (why && isAnswer(message)) return openFollowUp(tx, deps, about, 'answer-not-sent', { why, kind: message.kind })
  await followUpIfImportant(tx, deps, message, about)
}

/** Whoever wrote waits for it; what else mattered has a call of its own. */
const isAnswer = (message: Message) =>
  message.prompted && !mustBeTold(message) && MESSAGE_KINDS[message.kind].unanswered === 'call'
