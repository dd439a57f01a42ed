import type { Booking } from '../visits/booking.ts'
import { SENT_STATES, UNSENT, type Message } from '../messages/message.ts'
import { isPreparation } from '../messages/still-right.ts'
import type { Protocol } from './protocol.ts'
import { prepDeadline } from './deadline.ts'
import { MESSAGE_KINDS } from '../messages/texts/message-kinds.ts'

/**
 * Where preparation stands, for the desk and the clinician:
 * `not-needed`; `planned` (will be told); `on-its-way` (sent, no receipt yet); `told` (before the hours
 * began); `told-late` (after that, or not the full hours);
 * `not-reached` (a person must call); `nobody-tells` (no consent, or she wants no messages: a person must call).
 */
export type PrepStatus = 'not-needed' | 'planned' | 'on-its-way' | 'told' | 'told-late' | 'not-reached' | 'nobody-tells'

/**
 * @param messages all messages of the booking; those about an earlier time of the visit, or to another number than the
 *   patient's present one, do not count.
 * @param silent gateways that give no receipts: what they accepted counts as having arrived; but an e-mail only once
 *   the patient has said on the page that it was read.
 */
export function prepStatus(
  booking: Booking,
  protocol: Protocol,
  messages: readonly Message[],
  phone: string,
  silent: ReadonlySet<string>,
): PrepStatus {
  if (protocol.prepHours === 0) return 'not-needed'
  const about = messages.filter((each) => isPreparationFor(booking, phone, each))
  const told = about.filter((each) => each.state === 'delivered' || arrivedUnsaid(each, silent))
  const mark = prepDeadline(booking.visitAt, protocol.prepHours)
  if (told.some((each) => MESSAGE_KINDS[each.kind].prepares === 'in-time' && cameBy(each, mark))) return 'told'
  if (told.length > 0) return 'told-late'
  const states = new Set(about.map(({ state }) => state))
  if (states.has('sent') || states.has('sending')) return 'on-its-way'
  if (states.has('planned') || states.has('queued')) return 'planned'
  if (states.has('failed') || states.has('expired') || states.has('undelivered')) return 'not-reached'
  return 'nobody-tells'
}

const arrivedUnsaid = ({ state, channel, gateway }: Message, silent: ReadonlySet<string>) =>
  state === 'sent' && channel !== 'email' && silent.has(gateway)

/** Of what was written down long ago no moment may be known: it is taken to have come when it was planned. */
const cameBy = ({ endedAt, sentAt, sendAt }: Message, mark: Date) => (endedAt ?? sentAt ?? sendAt) <= mark

const isPreparationFor = ({ visitAt }: Booking, phone: string, each: Message) =>
  isPreparation(each) && each.visitAt?.getTime() === visitAt.getTime() && isTo(each, phone)

/**
 * The last attempt at telling how to prepare, where all that were made came to nothing after they
 * were sent, and none is on its way; undefined where that is not so.
 */
export function notReachedBy(booking: Booking, messages: readonly Message[], phone: string): Message | undefined {
  const about = messages.filter((each) => isPreparationFor(booking, phone, each))
  const tried = about.filter(({ state }) => [...SENT_STATES, ...UNSENT].includes(state))
  return tried.every(({ state }) => state === 'undelivered') ? tried.at(-1) : undefined
}

const TOLD: ReadonlySet<PrepStatus> = new Set(['told', 'told-late', 'on-its-way'])

/** Whether the patient has been told how to prepare for this time, or is being told just now. */
export function isTold(...about: Parameters<typeof prepStatus>): boolean {
  return TOLD.has(prepStatus(...about))
}

/** Whether it went to this number. Of messages long past the number is no longer kept. */
export const isTo = (message: Pick<Message, 'phone'>, phone: string) => message.phone === phone || message.phone === ''
