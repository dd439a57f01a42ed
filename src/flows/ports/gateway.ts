import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { CallScript, Step } from '../../domain/messages/voice/call-script.ts'
import type { Pressed } from '../../domain/messages/voice/pressed.ts'

/** One message on its way out. */
export interface Outgoing {
  /** Our message id: unique for ever, handed on where the peer takes one. */
  id: string
  channel: Channel
  /** E.164, with `+`; channel `email`: an address. */
  to: string
  text: string
  /** Channel `email`: its subject. `to` is then the address. */
  subject?: string
  language: string
  /** The peer may drop it after this moment: it would be worthless. */
  notAfter: Date
  /** Channel `voice`: the whole call. `text` is then its message alone, for the record. */
  voice?: CallScript
}

/**
 * What became of one attempt.
 * - `accepted`: the peer has it. `ref` is its own id, where it gives one.
 * - `rejected`: for good (bad number, refused text). Never retried.
 * - `later`: certainly not accepted, for now (peer down, no connection). May be retried.
 * - `throttled`: not accepted, too fast. May be retried after `retryAfterMs`.
 * - `misconfigured`: not accepted, and no message will be until an operator acts (credentials).
 * - `unknown`: it may have been accepted (connection lost after writing, no answer in time). Never blindly retried.
 */
export type SendOutcome =
  | { kind: 'accepted'; ref?: string }
  | { kind: 'rejected'; code: string }
  | { kind: 'later'; code: string; retryAfterMs?: number }
  | { kind: 'throttled'; code: string; retryAfterMs?: number }
  | { kind: 'misconfigured'; code: string }
  | { kind: 'unknown'; code: string }

/**
 * A delivery receipt. Either our id or the peer's reference is present, or both. Duplicates and any order are normal.
 */
export interface Receipt {
  gateway: string
  messageId?: string
  ref?: string
  state: 'delivered' | 'undelivered'
  code?: string
  at: Date
}

/** A text that came in. `key` is stable over redelivery of the same text, so that it is heard once. */
export interface InboundMessage {
  gateway: string
  key: string
  /** E.164, with `+`. */
  from: string
  text: string
  /**
   * As hex, where it could not be read: `text` is then what can be made out, which may be nothing. It is put before a
   * person, and never taken for words.
   */
  octets?: string
  at: Date
}

/** A key pressed in a call. `key` is stable over redelivery of the same answer, so that it is heard once. */
export interface KeyPress {
  gateway: string
  key: string
  messageId: string
  pressed: Pressed
  at: Date
}

/**
 * What a gateway calls when something comes back. Each resolves once the fact is stored durably; only then may the
 * gateway acknowledge.
 */
export interface InboundHandlers {
  receipt(receipt: Receipt): Promise<void>
  message(heard: InboundMessage): Promise<void>
  /**
   * What is said in the call in answer to a key, instead of the thanks of its script; null where those thanks will do.
   */
  keyPressed?(answered: KeyPress): Promise<Step | null>
  /**
   * The call of a message, for a peer that fetches it in its own time; null when it is no longer to be made. A call
   * that has begun goes on also when what became of it is known.
   */
  script?(messageId: string, moment: 'begin' | 'go-on'): Promise<CallScript | null>
}

/** Leave to put one message on the wire at once: its peer takes no more at a time, or in a second, than was agreed. */
export interface Turn {
  /** Gives it back, used or not. Harmless when it was given back before. */
  release(): void
}

/** Why nothing goes through, and since when, as long as that is so. */
export type GatewayHealth = { ok: true } | { ok: false; code: string; since: Date }

/** What carries messages out and replies in. `send` never throws for what a peer does: it answers with an outcome. */
export interface Gateway {
  readonly name: string
  readonly channels: readonly Channel[]
  /** What to do with a claim whose fate nobody knows: send again (a duplicate is possible) or leave it to a person. */
  readonly onUnknown: 'resend' | 'ask-desk'
  /** False where the peer never says what was delivered; then accepted is all that can be known. */
  readonly receipts?: boolean
  /** True where it reaches simulated phones only: nobody is told anything. */
  readonly simulated?: boolean
  start(ears: InboundHandlers): Promise<void>
  /** Resolves when the first attempt to connect has ended, well or badly. Absent where nothing is connected before. */
  attempted?(): Promise<void>
  /**
   * Waits until another message of this channel may go. It is asked for before a message is claimed, so that nothing
   * has to wait that was checked already. Absent where none ever has to wait.
   * @param until ends the waiting.
   * @returns undefined when the waiting was ended.
   */
  turn?(channel: Channel, until: AbortSignal): Promise<Turn | undefined>
  /** As `turn`, where one is free this moment; undefined where it would have to be waited for. */
  turnAtOnce?(channel: Channel): Turn | undefined
  /** @param turn one for this message; without it the message waits for a moment at most, or comes back `throttled`. */
  send(message: Outgoing, turn?: Turn): Promise<SendOutcome>
  /** Whether messages go through; where that is known. */
  health?(): GatewayHealth
  /** Asks the peer what became of a message, where it can say. */
  lookUp?(messageId: string): Promise<SendOutcome | 'never-seen'>
  /** Finishes sends in flight, then lets go of connections. */
  stop(): Promise<void>
}

/** An authenticated callback from a peer that speaks HTTP, before it is understood. */
export interface Callback {
  path: 'receipt' | 'reply' | 'call'
  method: string
  /** Path and query as they came, still encoded. */
  url: string
  query: Record<string, string>
  headers: Record<string, string>
  body: Buffer
}

/** A gateway whose receipts and replies come by webhook: the HTTP adapter hands it each callback. */
export interface CallbackGateway extends Gateway {
  /** Answers what the peer must get back. Throws nothing; a bad signature is 401, garbage 400. */
  callback(callback: Callback): Promise<{ status: number; body: string; contentType?: string }>
}
