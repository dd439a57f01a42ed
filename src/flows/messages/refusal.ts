import type { Message } from '../../domain/messages/message.ts'
import { stillHolds } from '../../domain/messages/still-right.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import { obstaclesTo, type Obstacle } from '../../domain/patients/unreachable.ts'
import type { DispatchContext } from '../ports/deps.ts'
import type { MessageContext } from './message-context.ts'

/** How a message ends that is not sent. `obstacle`: what stood between it and the patient. */
export type Refusal = { state: 'withdrawn' | 'expired' | 'failed'; code: string; obstacle?: Obstacle }

/** Something newer says what there is to say. */
export const SUPERSEDED = 'plan-revised'

/** Why a message is not to be sent, neither now nor later; null = may go, once it is its time. */
export function refusalOf(now: Date, message: Message, about: MessageContext, found: DispatchContext): Refusal | null {
  if (message.notAfter <= now) return { state: 'expired', code: 'too-late' }
  const obstacle = obstaclesBefore(now, message, about, found).find((each) => stops(each, message))
  if (obstacle && BEFORE_ALL.has(obstacle.code)) return withdrawnBy(obstacle)
  if (!stillHolds(message, about)) return { state: 'withdrawn', code: SUPERSEDED }
  return obstacle ? withdrawnBy(obstacle) : null
}

/** Also of what is no longer so a person hears then. */
const BEFORE_ALL: ReadonlySet<Obstacle['code']> = new Set<Obstacle['code']>(['died', 'opted-out'])

const withdrawnBy = (obstacle: Obstacle): Refusal => ({ state: 'withdrawn', code: obstacle.code, obstacle })

function obstaclesBefore(
  at: Date,
  { phone, patientId, channel }: Message,
  { patient, clinic, booking }: MessageContext,
  { refusals, consents }: DispatchContext,
): Obstacle[] {
  const refused = refusals.get(phone) ?? null
  const agreed = (patientId !== null && consents.get(patientId)) || []
  if (patient) return obstaclesTo({ patient, clinic, booking, refused, consents: agreed, channel, at })
  return [...(refused === null ? [] : [REFUSED]), NOBODY_AGREED]
}

/** Of messages to somebody of whom nothing is kept any more. */
const REFUSED: Obstacle = { reason: 'opted-out', code: 'opted-out' }
const NOBODY_AGREED: Obstacle = { reason: 'no-consent', code: 'no-consent' }

/** An answer to what somebody just wrote needs no consent; some answers go to whoever wants no messages. */
function stops({ code }: Obstacle, { kind, prompted }: Message): boolean {
  if (code === 'no-consent') return !prompted
  if (code === 'opted-out' || code === 'minor') return MESSAGE_KINDS[kind].afterStop === 'not-said'
  return true
}
