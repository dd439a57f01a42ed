import type { FollowUpReason } from '../calls/follow-up.ts'
import type { Noted, TextKind } from '../messages/texts/kinds.ts'
import type { CycleHistory } from '../preparation/cycle/history.ts'
import type { OfferReason } from '../visits/offer.ts'

/** What a reply leads to, as data. A flow carries it out in one transaction. */
export type Effect =
  | { do: 'opt-out'; reason: 'stop' | 'wrong-person' }
  | { do: 'report-death' }
  | { do: 'opt-in' }
  | { do: 'say'; kind: TextKind; topic?: string; noted?: Noted }
  /** Takes back what the last reply told of a period. */
  | { do: 'undo' }
  | { do: 'follow-up'; reason: FollowUpReason; detail?: Record<string, unknown> }
  | { do: 'learn'; history: CycleHistory }
  | { do: 'confirm' }
  | { do: 'note-lapse' }
  | { do: 'note-need' }
  /** Offer better openings, or have the desk do it where there are none. `reason` says what the desk is then told. */
  | { do: 'offer'; reason: OfferReason }
  | { do: 'accept'; choice: number }

/** One text. */
export function say(kind: TextKind): Effect[] {
  return [{ do: 'say', kind }]
}

/** One call. */
export function follow(reason: FollowUpReason, detail?: Record<string, unknown>): Effect {
  return { do: 'follow-up', reason, ...(detail && { detail }) }
}
