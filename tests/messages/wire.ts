import type { Gateway, Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'

/** A peer whose answers a test decides about. Without a word from the test it accepts, and never says what arrived. */
export class Wire implements Gateway {
  readonly name = 'wire'
  readonly channels = ['sms', 'voice'] as const
  readonly onUnknown = 'ask-desk'
  readonly receipts = false
  /** What it accepted, in order. */
  readonly took: Outgoing[] = []
  #once: { isIt(message: Outgoing): boolean; answer(): Promise<SendOutcome> }[] = []

  /** The next message of this kind gets this answer instead. */
  once(isIt: (message: Outgoing) => boolean, answer: () => Promise<SendOutcome>): void {
    this.#once.push({ isIt, answer })
  }

  async start(): Promise<void> {}
  async stop(): Promise<void> {}

  async send(message: Outgoing): Promise<SendOutcome> {
    const at = this.#once.findIndex(({ isIt }) => isIt(message))
    if (at >= 0) return this.#once.splice(at, 1)[0]!.answer()
    this.took.push(message)
    return { kind: 'accepted', ref: `wire-${this.took.length}` }
  }

  /** Words that it took to a number, oldest first. */
  to(phone: string): string[] {
    return this.took.filter(({ to }) => to === phone).map(({ text }) => text)
  }
}
