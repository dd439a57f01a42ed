import type { Receipt } from './gateway.ts'

/** A part of a long text as it came: its octets as hex, and the number of their alphabet. */
export interface TextPart {
  octets: string
  coding: number
}

/** What the peer says of a long text: parts of which all this is the same belong together. */
export interface LongTextName {
  gateway: string
  /** E.164, with `+`. */
  from: string
  to: string
  reference: number
  /** How many parts it has. */
  total: number
}

/** A long text that is closed: nothing is added to it any more, since it is whole or was waited for long enough. */
export interface LongText extends LongTextName {
  id: string
  /** Those that never came are null. */
  parts: (TextPart | null)[]
  /** When its first part came. */
  at: Date
}

/** One part to be kept. */
export interface NewPart {
  name: LongTextName
  /** From 1 on. */
  number: number
  part: TextPart
  at: Date
}

/**
 * Long texts of patients on their way in, whichever worker a part arrives at. Each resolves once it is committed. A
 * text that is closed may be heard more than once, always with the same id and words, until it is said to be heard.
 */
export interface LongTexts {
  /**
   * Keeps a part, once however often it is told.
   * @param id of the text, where this is its first part
   * @returns texts that are closed by it and not yet heard: its own, when it is whole; an unfinished one of the same
   *   name, when another part stands in this one's place
   */
  add(part: NewPart, id: string): Promise<LongText[]>
  /**
   * Closes what has waited too long, and takes up what was closed and not heard.
   * @returns the texts to be heard
   */
  due(gateway: string, until: DueTexts, now: Date): Promise<LongText[]>
  heard(id: string, at: Date): Promise<void>
  /** Forgets texts that were heard by then: until then a part that is told again is known. */
  forgetHeard(before: Date): Promise<void>
}

export interface DueTexts {
  /** Of this gateway, began by then and still open. */
  began: Date
  /** Of this gateway, closed by then and not heard: whoever closed it may be gone. */
  closed: Date
  /** Of whichever gateway, began by then: its own is gone. */
  orphaned: Date
}

/** A part of a message that the peer took, by the peer's own id. */
export interface SentPart {
  gateway: string
  ref: string
  /** One attempt to send the message. */
  sending: string
  messageId: string
  /** How many parts the message has. */
  parts: number
  at: Date
}

/** What is known of the parts of one sending. */
export interface PartStates {
  messageId: string
  parts: number
  known: Pick<Receipt, 'state' | 'code'>[]
}

/**
 * Which of the peer's ids belong to which message, and what their receipts said, whichever worker they arrive at and in
 * whatever order. Each resolves once it is committed.
 */
export interface SentParts {
  /** @returns whether a receipt of this part was here before */
  accepted(part: SentPart): Promise<boolean>
  /** Notes the receipt of a part; delivered stays. @returns the sending it belongs to, where that is known by now */
  told(receipt: Pick<Receipt, 'gateway' | 'state' | 'code' | 'at'> & { ref: string }): Promise<string | undefined>
  ofSending(sending: string): Promise<PartStates | undefined>
  /** Sendings of this gateway of which every part is delivered, nothing was heard since, and nobody was told. */
  untold(gateway: string, before: Date): Promise<string[]>
  /** Forgets a sending of which all is known and told. */
  done(sending: string): Promise<void>
  /** Forgets receipts told by then that belong to no part. */
  forgetStray(before: Date): Promise<void>
}

/** What a gateway must still know after a restart, and what all workers must know together. */
export interface GatewayMemory {
  longTexts: LongTexts
  sentParts: SentParts
}
