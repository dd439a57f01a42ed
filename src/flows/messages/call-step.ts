import type { Message } from '../../domain/messages/message.ts'
import type { NextStep } from '../../domain/messages/retry.ts'
import { afterCall } from '../../domain/messages/voice/retry-call.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/**
 * What follows a call that did not reach her: another at a different part of the day, or giving up after three.
 * Undefined where this was no call, or the code says nothing about her: then the usual table decides.
 */
export async function callStep(tx: Tx, deps: Deps, message: Message, code: string | null): Promise<NextStep | undefined> {
  if (message.channel !== 'voice' || code === null) return undefined
  const booking = message.bookingId === null ? undefined : await tx.bookings.get(message.bookingId)
  const clinic = await tx.clinics.get(message.clinicId)
  if (!clinic) return undefined
  const { notAfter, attempt } = message
  const next = afterCall(code, { calls: attempt, notAfter }, deps.clock.now(), booking?.zone ?? clinic.zone, clinic.settings.hours)
  if (next === undefined) return undefined
  return next === 'give-up' ? { state: 'failed' } : { state: 'queued', at: next.again }
}
