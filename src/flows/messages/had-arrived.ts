import type { FollowUp } from '../../domain/calls/follow-up.ts'
import type { Message } from '../../domain/messages/message.ts'
import { closeEach } from '../calls/follow-ups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { lossOf, mustBeTold } from './leave-to-person.ts'

const ARRIVED = 'the message had arrived'
const MOST_OPEN = 100
const LOST: ReadonlySet<Message['state']> = new Set(['undelivered', 'failed', 'expired'])

/**
 * A message has arrived after all: the call that it, or what stood in for it, was thought lost is closed, unless
 * something else is lost for which that call stands too.
 */
export async function closeLossCalls(tx: Tx, deps: Deps, arrived: Message): Promise<void> {
  const { bookingId } = arrived
  if (bookingId === null) return closeOfNumber(tx, deps, arrived)
  const open = await tx.followUps.list({ bookingId, open: true, limit: MOST_OPEN })
  if (!open.some(saysWhich)) return
  const sent = await tx.messages.ofBooking(bookingId)
  await closeEach(tx, deps, bookingId, (call) => (isAnswered(call, sent) ? ARRIVED : null))
}

async function closeOfNumber(tx: Tx, deps: Deps, arrived: Message): Promise<void> {
  const { phone } = arrived
  for (const call of await tx.followUps.list({ phone, open: true, limit: MOST_OPEN }))
    if (isAnswered(call, [arrived])) await tx.followUps.close(call.id, 'daysix', ARRIVED, deps.clock.now())
}

/** Calls of older versions do not say which message they are about: a person closes them. */
const saysWhich = ({ detail }: FollowUp) => typeof detail.message === 'string'

function isAnswered(call: FollowUp, sent: readonly Message[]): boolean {
  if (!saysWhich(call)) return false
  const about = call.detail.message
  const isIt = ({ id, fallbackOf }: Message) => id === about || fallbackOf === about
  return sent.some((each) => isIt(each) && each.state === 'delivered') && !standsForOthers(call, sent, isIt)
}

/** One call for a visit stands for all that was lost once it was open. */
function standsForOthers(
  { reason, openedAt }: FollowUp,
  sent: readonly Message[],
  isIt: (message: Message) => boolean,
): boolean {
  if (reason !== 'not-delivered') return false
  const wasLost = (each: Message) => LOST.has(each.state) && isOfVisit(each) && each.endedAt! >= openedAt
  return sent.some((each) => !isIt(each) && wasLost(each) && !madeUpFor(each, sent))
}

/** Else nobody calls for it, or it has a call of its own. */
const isOfVisit = (each: Message) => mustBeTold(each) && lossOf(each) === 'not-delivered'

/** What stood in for it has arrived, or it for what it stood in for. */
function madeUpFor({ id, fallbackOf }: Message, sent: readonly Message[]): boolean {
  const isOther = (each: Message) => each.fallbackOf === id || each.id === fallbackOf
  return sent.some((each) => isOther(each) && each.state === 'delivered')
}
