import type { Booking } from '../booking.ts'
import type { Message } from '../message.ts'
import type { Protocol } from './protocol.ts'

/**
 * Where preparation stands, for the desk and the clinician:
 * `not-needed`; `planned` (will be told); `on-its-way` (sent, no receipt yet); `told`; `told-late` (not the full hours);
 * `not-reached` (a person must call); `nobody-tells` (no consent, or she wants no messages: a person must call).
 */
export type Standing = 'not-needed' | 'planned' | 'on-its-way' | 'told' | 'told-late' | 'not-reached' | 'nobody-tells'

/** @param messages all messages of the booking; those about an earlier time of the visit do not count. */
export function standing(booking: Booking, protocol: Protocol, messages: readonly Message[]): Standing {
  if (protocol.prepHours === 0) return 'not-needed'
  const about = messages.filter(
    ({ kind, visitAt }) => (kind === 'prep' || kind === 'late-prep') && visitAt?.getTime() === booking.visitAt.getTime(),
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
