import { homeZone } from '../../domain/patients/home-zone.ts'
import { subjectOf } from '../lookups.ts'
import type { Message } from '../../domain/messages/message.ts'
import type { NextStep } from '../../domain/messages/retry.ts'
import { afterCall } from '../../domain/messages/voice/retry-call.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/**
 * What follows a call that did not reach the patient: another at a different part of the day, or giving up after three.
 * Undefined where this was no call, or the code says nothing about her: then the usual table decides.
 */
export async function callStep(
  tx: Tx,
  deps: Deps,
  message: Message,
  code: string | null,
): Promise<NextStep | undefined> {
  if (message.channel !== 'voice' || code === null) return undefined
  const about = await subjectOf(tx, message)
  const { notAfter, attempt } = message
  const next = afterCall(
    code,
    { calls: attempt, notAfter },
    deps.clock.now(),
    homeZone(about),
    about.clinic.settings.hours,
  )
  if (next === undefined) return undefined
  return next === 'give-up' ? { state: 'failed' } : { state: 'queued', at: next.again }
}
