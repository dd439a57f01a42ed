import type { InboundHandlers, Gateway, Outgoing, Receipt, SendOutcome } from '../../../flows/ports/gateway.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import { InFlight } from '../in-flight.ts'
import { answerOf, keepsMessage, type NetworkPlan } from './network-plan.ts'

export interface PocketOptions {
  name?: string
  channels?: readonly Channel[]
  clock: { now(): Date }
  /** 0 up to 1, like `Math.random`; spreads the receipt delay and makes keys unique over restarts. */
  random: () => number
  /** Usual time from acceptance to the phone, spread by half either way. */
  receiptDelayMs?: number
  /** Runs work later. All waiting of the network goes through it, so that a virtual clock can drive it. */
  after: (ms: number, work: () => Promise<void>) => void
  /** How numbers without a plan of their own behave, for example by their last digits. */
  rules?: (to: string) => NetworkPlan | undefined
  /** False: the network cannot be asked what became of a message, as many real ones cannot. */
  canLookUp?: boolean
  onUnknown?: Gateway['onUnknown']
}

/** One text on a simulated phone. */
export interface PhoneText {
  direction: 'to-patient' | 'from-patient'
  channel: Channel
  text: string
  at: Date
}

export interface Phone {
  number: string
  texts: readonly PhoneText[]
}

/**
 * One acceptance, written down by the network itself: the independent witness against which tests compare our own
 * records.
 */
export interface LedgerEntry {
  ref: string
  messageId: string
  channel: Channel
  to: string
  text: string
  acceptedAt: Date
  notAfter: Date
}

type Tell = (ears: InboundHandlers) => Promise<void>

const RECEIPT_DELAY_MS = 3_000
const TELL_AGAIN_MS = 2_000
const TELL_TRIES = 10

/**
 * A simulated phone network inside the service. It outlives `stop`: what comes in meanwhile is held and told
 * after the next `start`, as a real network would. A callback that `ears` refuses is told again, up to ten times.
 */
export class PocketGateway implements Gateway {
  readonly name: string
  readonly channels: readonly Channel[]
  readonly onUnknown: Gateway['onUnknown']
  readonly simulated = true
  lookUp?: (messageId: string) => Promise<SendOutcome | 'never-seen'>

  readonly #options: PocketOptions
  readonly #plans = new Map<string, NetworkPlan>()
  readonly #phones = new Map<string, PhoneText[]>()
  readonly #ledger: LedgerEntry[] = []
  readonly #inFlight = new InFlight()
  #held: Tell[] = []
  #ears: InboundHandlers | undefined

  constructor(options: PocketOptions) {
    this.#options = options
    this.name = options.name ?? 'pocket'
    this.channels = options.channels ?? ['sms', 'voice', 'email']
    this.onUnknown = options.onUnknown ?? 'ask-desk'
    if (options.canLookUp ?? true) this.lookUp = (messageId) => Promise.resolve(this.#recall(messageId))
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#ears = ears
    const held = this.#held
    this.#held = []
    for (const tell of held) await this.#tell(tell)
  }

  async stop(): Promise<void> {
    await this.#inFlight.settled()
    this.#ears = undefined
  }

  send(message: Outgoing): Promise<SendOutcome> {
    return this.#inFlight.run(() => this.#send(message))
  }

  /** Sets how a number behaves from now on; without a plan it becomes normal again. */
  behave(number: string, plan?: NetworkPlan): void {
    if (plan === undefined) this.#plans.delete(number)
    else this.#plans.set(number, { ...plan })
  }

  /** The patient sends a text. `times: 2` tells the same text twice, as networks do. */
  async reply(number: string, text: string, times = 1): Promise<void> {
    const at = this.#options.clock.now()
    this.#show(number, { direction: 'from-patient', channel: 'sms', text, at })
    const key = `${this.name}-${at.getTime().toString(36)}-${Math.floor(this.#options.random() * 2 ** 40).toString(36)}`
    for (let n = 0; n < times; n++)
      await this.#tell((ears) => ears.message({ gateway: this.name, key, from: number, text, at }))
  }

  /** Every phone that a text has reached or come from, in the order of their first text. */
  phones(): Phone[] {
    return [...this.#phones.keys()].map((number) => this.phone(number))
  }

  phone(number: string): Phone {
    return { number, texts: [...(this.#phones.get(number) ?? [])] }
  }

  /** What the network accepted, in order. A message accepted twice stands here twice. */
  ledger(): readonly LedgerEntry[] {
    return [...this.#ledger]
  }

  async #send(message: Outgoing): Promise<SendOutcome> {
    if (this.#ears === undefined) return { kind: 'later', code: 'not-started' }
    if (message.notAfter <= this.#options.clock.now()) return { kind: 'rejected', code: 'expired' }
    const plan = this.#planFor(message.to)
    const entry = keepsMessage(plan) ? this.#accept(message) : undefined
    if (entry) await this.#forward(entry, plan)
    if (plan.answerAfterMs) await this.#pause(plan.answerAfterMs)
    return answerOf(plan, entry?.ref)
  }

  #planFor(number: string): NetworkPlan {
    const plan = this.#plans.get(number)
    if (plan?.times !== undefined && --plan.times <= 0) this.#plans.delete(number)
    return plan ?? this.#options.rules?.(number) ?? {}
  }

  #accept(message: Outgoing): LedgerEntry {
    const { id: messageId, channel, to, text, notAfter } = message
    const acceptedAt = this.#options.clock.now()
    const entry = { ref: `${this.name}-${this.#ledger.length + 1}`, messageId, channel, to, text, acceptedAt, notAfter }
    this.#ledger.push(entry)
    return entry
  }

  async #forward(entry: LedgerEntry, plan: NetworkPlan): Promise<void> {
    if (plan.receiptFirst) return this.#finish(entry, plan)
    const usual = (this.#options.receiptDelayMs ?? RECEIPT_DELAY_MS) * (0.5 + this.#options.random())
    this.#options.after(plan.receiptAfterMs ?? usual, () => this.#finish(entry, plan))
  }

  /** The message reaches the phone, or does not, and the network says so. */
  async #finish(entry: LedgerEntry, plan: NetworkPlan): Promise<void> {
    const at = this.#options.clock.now()
    if (plan.fate === 'vanishes') return
    const state = plan.fate ?? (at > entry.notAfter ? 'undelivered' : 'delivered')
    if (state === 'delivered')
      this.#show(entry.to, { direction: 'to-patient', channel: entry.channel, text: entry.text, at })
    // No server of e-mail says what arrived.
    if (entry.channel === 'email') return
    const receipt: Receipt = { gateway: this.name, messageId: entry.messageId, ref: entry.ref, state, at }
    if (state === 'undelivered') receipt.code = at > entry.notAfter ? 'expired' : 'no-answer'
    for (let n = 0; n < (plan.receipts ?? 1); n++) await this.#tell((ears) => ears.receipt({ ...receipt }))
  }

  async #tell(tell: Tell, tried = 1): Promise<void> {
    if (this.#ears === undefined) return void this.#held.push(tell)
    try {
      await tell(this.#ears)
    } catch {
      if (tried < TELL_TRIES) this.#options.after(TELL_AGAIN_MS * tried, () => this.#tell(tell, tried + 1))
    }
  }

  #show(number: string, text: PhoneText): void {
    const texts = this.#phones.get(number) ?? []
    texts.push(text)
    this.#phones.set(number, texts)
  }

  #recall(messageId: string): SendOutcome | 'never-seen' {
    const entry = this.#ledger.findLast((one) => one.messageId === messageId)
    return entry === undefined ? 'never-seen' : { kind: 'accepted', ref: entry.ref }
  }

  #pause(ms: number): Promise<void> {
    return new Promise((resume) => this.#options.after(ms, async () => resume()))
  }
}

/** Makes a simulated phone network: see `PocketGateway`. */
export function createPocketGateway(options: PocketOptions): PocketGateway {
  return new PocketGateway(options)
}
