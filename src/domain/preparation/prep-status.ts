import type { Booking } from '../visits/booking.ts'
import type { Message } from '../messages/message.ts'
import type { Protocol } from './protocol.ts'

/**
 * Where preparation stands, for the desk and the clinician:
 * `not-needed`; `planned` (will be told); `on-its-way` (sent, no receipt yet); `told`; `told-late` (not the full hours);
 * `not-reached` (a person must call); `nobody-tells` (no consent, or she wants no messages: a person must call).
 */
export type PrepStatus = 'not-needed' | 'planned' | 'on-its-way' | 'told' | 'told-late' | 'not-reached' | 'nobody-tells'

/**
 * @param messages all messages of the booking; those about an earlier time of the visit, or to another number than the
 *   patient's present one, do not count.
 */
export function prepStatus(booking: Booking, protocol: Protocol, messages: readonly Message[], phone: string): PrepStatus {
  if (protocol.prepHours === 0) return 'not-needed'
  const about = messages.filter(
    (each) => isPreparation(each) && each.visitAt?.getTime() === booking.visitAt.getTime() && isTo(each, phone),
  )
  const told = about.filter(({ state }) => state === 'delivered')
  if (told.some(({ kind }) => kind === 'prep')) return 'told'
  if (told.length > 0) return 'told-late'
  const states = new Set(about.map(({ state }) => state))
  if (states.has('sent') || states.has('sending')) return 'on-its-way'
  if (states.has('planned') || states.has('queued')) return 'planned'
  if (states.has('failed') || states.has('expired') || states.has('undelivered')) return 'not-reached'
  return 'nobody-tells'
}

const TOLD: ReadonlySet<PrepStatus> = new Set(['told', 'told-late', 'on-its-way'])

/** Whether the patient has been told how to prepare for this time, or is being told just now. */
export function isTold(booking: Booking, protocol: Protocol, messages: readonly Message[], phone: string): boolean {
  return TOLD.has(prepStatus(booking, protocol, messages, phone))
}

const isPreparation = ({ kind }: Message) => kind === 'prep' || kind === 'late-prep'

/** Whether it went to this number. Of messages long past the number is no longer kept. */
export const isTo = (message: Pick<Message, 'phone'>, phone: string) =>
  message.phone === phone || message.phone === ''
