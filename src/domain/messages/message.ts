import type { Channel, Detail, TextKind } from './texts/kinds.ts'

/**
 * The life of a message:
 *
 *   planned ─► queued ─► sending ─► sent ─► delivered
 *      │          │         │         └───► undelivered   (receipt says so, or none came in time)
 *      │          │         ├───► failed                  (rejected for good)
 *      │          │         └───► queued                  (failed for now, tried again while it is worth it)
 *      ├──────────┴───► expired                           (*not after* has passed)
 *      └──────────────► withdrawn                         (plan revised, visit moved or cancelled, STOP)
 *
 * Each move is a conditional update on the state it leaves; whoever comes second finds nothing to do.
 */
export const MESSAGE_STATES = [
  'planned',
  'queued',
  'sending',
  'sent',
  'delivered',
  'failed',
  'expired',
  'withdrawn',
  'undelivered',
] as const
export type MessageState = (typeof MESSAGE_STATES)[number]

/** Still to be sent. */
export const UNSENT: readonly MessageState[] = ['planned', 'queued']

/** Sent, or on its way. */
export const SENT_STATES: readonly MessageState[] = ['sending', 'sent', 'delivered', 'undelivered']

export interface Message {
  id: string
  bookingId: string | null
  patientId: string | null
  clinicId: string
  /** E.164; where it goes. */
  phone: string
  kind: TextKind
  channel: Channel
  detail: Detail
  language: string
  /**
   * Plan revision it belongs to; null for what belongs to no plan (answers, what the desk wrote or
   * told, fall-backs), so that no new plan takes it back.
   */
  revision: number | null
  /**
   * An answer to what the patient just wrote: goes at any hour, whatever was agreed to. All else keeps to hours and
   * consent.
   */
  prompted: boolean
  /** A person at the desk wrote it: whatever keeps it from arriving, a person must hear of it. */
  byHand: boolean
  unsolicited: boolean
  /** Preparation that confirms the visit too: both were due at once. */
  confirms: boolean
  sendAt: Date
  notAfter: Date
  state: MessageState
  attempt: number
  /** The visit it speaks of, as it was when planned. */
  visitAt: Date | null
  /** Instants it lists (offers, visits to choose from). */
  choices: Date[]
  /** Approved sentence it carries (kind `answer`). */
  answer: string | null
  gateway: string
  gatewayRef: string | null
  /** The words as sent; null until then. */
  text: string | null
  claimedAt: Date | null
  sentAt: Date | null
  endedAt: Date | null
  /** Why it ended as it did, e.g. `no-consent`, or the gateway's code. */
  code: string | null
  /** The message it stands in for, after a failure on another channel. */
  fallbackOf: string | null
}
