import type { ReceiptFacts } from './receipts.ts'
import type { Receipt } from '../../../flows/ports/gateway.ts'

interface Sent {
  messageId: string
  /** The peer's id of the last part: the one under which the whole message is known. */
  ref?: string
  parts: number
  delivered: Set<string>
}

export type Verdict = Pick<Receipt, 'messageId' | 'ref' | 'state' | 'code'>

const MOST = 200_000

/**
 * Which of the peer's ids belong to which message. A message of several parts is delivered when all of them are, and
 * undelivered when one is not. It lives in memory: after a restart receipts go by the peer's id of the last part.
 */
export class SentBook {
  readonly #byRef = new Map<string, Sent>()

  open(messageId: string, parts: number): Sent {
    return { messageId, parts, delivered: new Set() }
  }

  accepted(sent: Sent, ref: string): void {
    sent.ref = ref
    this.#byRef.set(ref, sent)
    if (this.#byRef.size > MOST) this.#byRef.delete(this.#byRef.keys().next().value!)
  }

  knows(ref: string): boolean {
    return this.#byRef.has(ref)
  }

  /** What a final receipt of one part says about the message; undefined while other parts are awaited. */
  judge(facts: ReceiptFacts & { state: Receipt['state'] }): Verdict | undefined {
    const sent = this.#byRef.get(facts.ref)
    const { state, ref } = facts
    const code = facts.code === undefined || state === 'delivered' ? {} : { code: facts.code }
    if (sent === undefined) return { ref, state, ...code }
    if (state === 'delivered' && sent.delivered.add(ref).size < sent.parts) return undefined
    return { messageId: sent.messageId, ...(sent.ref !== undefined && { ref: sent.ref }), state, ...code }
  }
}
