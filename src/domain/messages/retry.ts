import type { FollowUpReason } from '../calls/follow-up.ts'

const MINUTE = 60_000

/** Waiting time before the next attempt, by attempts made; the last one repeats. */
const BACKOFF_MS = [30_000, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 20 * MINUTE]
/** Nothing will go through until an operator acts: look again now and then. */
const MISCONFIGURED_MS = 15 * MINUTE

export type NextStep =
  | { state: 'sent' }
  | { state: 'queued'; at: Date }
  | { state: 'failed' | 'expired' | 'undelivered'; tell?: FollowUpReason }

/**
 * The one table of what follows an attempt: outcome → sent, tried again, or given up.
 *
 * | outcome       | then |
 * |---|---|
 * | accepted      | sent |
 * | rejected      | failed: another channel or the desk |
 * | later         | again after a growing pause (or the peer's own), while it is still worth it |
 * | throttled     | the same |
 * | misconfigured | again every 15 minutes, while it is still worth it |
 * | unknown       | by the gateway's policy: again after a pause, or undelivered and the desk makes sure |
 */
export function afterOutcome(
  outcome: { kind: string; retryAfterMs?: number },
  message: { attempt: number; notAfter: Date },
  now: Date,
  onUnknown: 'resend' | 'ask-desk',
): NextStep {
  if (outcome.kind === 'accepted') return { state: 'sent' }
  if (outcome.kind === 'rejected') return { state: 'failed' }
  if (outcome.kind === 'unknown' && onUnknown === 'ask-desk') return { state: 'undelivered', tell: 'send-unknown' }
  const at = new Date(now.getTime() + pause(outcome, message.attempt))
  return at < message.notAfter ? { state: 'queued', at } : { state: 'expired' }
}

function pause({ kind, retryAfterMs }: { kind: string; retryAfterMs?: number }, attempt: number): number {
  if (kind === 'misconfigured') return MISCONFIGURED_MS
  const usual = BACKOFF_MS[Math.min(attempt, BACKOFF_MS.length) - 1] ?? BACKOFF_MS[0]!
  return Math.max(retryAfterMs ?? 0, usual)
}
