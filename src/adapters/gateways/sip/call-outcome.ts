import type { SendOutcome } from '../../../flows/ports/gateway.ts'

/** A trunk that is too busy says when to come back, but the engine does not tell us. */
const OVERLOADED_MS = 30_000

/**
 * What a refused call means, by the status of the final response (RFC 3261 §21; 607 is RFC 8197). A call that was never
 * answered was certainly not heard, so nothing here is `unknown`.
 */
const BY_STATUS: [statuses: readonly number[], outcome: SendOutcome][] = [
  [[486, 600], { kind: 'later', code: 'busy' }],
  [[408, 487], { kind: 'later', code: 'no-answer' }],
  [[480], { kind: 'later', code: 'unavailable' }],
  [[404, 410, 416, 484, 604], { kind: 'rejected', code: 'bad-number' }],
  [[603, 607], { kind: 'rejected', code: 'declined' }],
  [[503], { kind: 'throttled', code: 'sip-503', retryAfterMs: OVERLOADED_MS }],
]
const OUR_OWN_FAULT = [401, 403, 407]
/** Our offer of sound as a whole is not taken, before anybody's phone rang. */
const NO_MEDIA = [488, 606]

/** @param cause the status first (`486 Busy here`), a sentence of the engine's own, or a word of the gate's. */
export function outcomeOf(cause: string): SendOutcome {
  // Somebody may have picked up and heard nothing: not to be rung again for it.
  if (cause.startsWith('media-')) return { kind: 'rejected', code: cause }
  if (cause === 'trunk-lost') return { kind: 'later', code: cause }
  const status = Number(/^[3-6]\d\d\b/.exec(cause)?.[0])
  const known = BY_STATUS.find(([statuses]) => statuses.includes(status))
  if (known) return known[1]
  // Who may be called is decided here, not where the call went.
  if (status < 400) return { kind: 'rejected', code: 'redirected' }
  if (NO_MEDIA.includes(status)) return { kind: 'misconfigured', code: 'media-refused' }
  if (OUR_OWN_FAULT.includes(status)) return { kind: 'misconfigured', code: `sip-${status}` }
  if (status) return { kind: 'later', code: `sip-${status}` }
  return { kind: 'later', code: /timed out/i.test(cause) ? 'trunk-silent' : 'call-broken' }
}
