import type { SendOutcome } from '../../../flows/ports/gateway.ts'

/**
 * How the simulated network treats the messages to one number. Everything left out is normal:
 * taken, delivered after the usual delay, one receipt.
 */
export interface NetworkPlan {
  /** What `send` answers. */
  answer?: SendOutcome['kind']
  /**
   * Whether the network keeps the message. It does by default when it answers `accepted`, and when the connection drops
   * in mid-send (`unknown`); `takes: false` with `unknown` is a drop before the message got through.
   */
  takes?: boolean
  answerAfterMs?: number
  /** With `later` and `throttled`: when the peer says to come back. */
  retryAfterMs?: number
  /** `vanishes`: neither the phone nor a receipt ever shows it. */
  fate?: 'delivered' | 'undelivered' | 'vanishes'
  /** How often the receipt is told: 0 loses it, 2 tells it twice. */
  receipts?: number
  receiptAfterMs?: number
  /** The receipt is told before `send` has answered. */
  receiptFirst?: boolean
  /** For how many messages this plan holds; afterwards the number is normal again. For ever when left out. */
  times?: number
}

/** Whether the network keeps a message under this plan. */
export function keepsMessage(plan: NetworkPlan): boolean {
  return plan.takes ?? ['accepted', 'unknown'].includes(plan.answer ?? 'accepted')
}

/** What `send` answers under this plan. */
export function answerOf(plan: NetworkPlan, ref: string | undefined): SendOutcome {
  const kind = plan.answer ?? 'accepted'
  if (kind === 'accepted') return ref === undefined ? { kind } : { kind, ref }
  const retry = plan.retryAfterMs === undefined ? {} : { retryAfterMs: plan.retryAfterMs }
  if (kind === 'later' || kind === 'throttled') return { kind, code: `pocket-${kind}`, ...retry }
  return { kind, code: `pocket-${kind}` }
}
