import { isAboutHer } from '../../domain/messages/voice/retry-call.ts'
import type { CallbackGateway, Gateway, GatewayHealth, Outgoing, SendOutcome } from '../../flows/ports/gateway.ts'

export interface BreakerOptions {
  clock: { now(): Date }
  /** This many failures in a row open it. */
  failures?: number
  /** How long it stays open at first; doubled after each probe that fails. */
  openMs?: number
  maxOpenMs?: number
}

const FAILURES = 5
const OPEN_MS = 30_000
const MAX_OPEN_MS = 600_000

/** The peer did not answer as a working peer does. A rejection or a throttle is an answer, and so is a busy line. */
const FAILED: ReadonlySet<SendOutcome['kind']> = new Set(['later', 'unknown', 'misconfigured'])

/**
 * Closed (messages go through) → after `failures` in a row, or one `misconfigured`, open (messages are answered `later`
 * at once) → after a while half open (one message probes) → closed, or open again for twice as long.
 */
class Breaker {
  readonly #options: Required<BreakerOptions>
  #failed = 0
  #open: { since: Date; until: number; ms: number; code: string } | undefined
  #probing = false

  constructor({ clock, failures = FAILURES, openMs = OPEN_MS, maxOpenMs = MAX_OPEN_MS }: BreakerOptions) {
    this.#options = { clock, failures, openMs, maxOpenMs }
  }

  health(): GatewayHealth {
    return this.#open ? { ok: false, code: this.#open.code, since: this.#open.since } : { ok: true }
  }

  async send(message: Outgoing, attempt: (message: Outgoing) => Promise<SendOutcome>): Promise<SendOutcome> {
    if (this.#open === undefined) return this.#note(message, await attempt(message))
    const left = this.#open.until - this.#options.clock.now().getTime()
    if (left > 0 || this.#probing) return { kind: 'later', code: 'breaker-open', retryAfterMs: Math.max(left, 1_000) }
    this.#probing = true
    const outcome = await attempt(message).finally(() => (this.#probing = false))
    return this.#note(message, outcome)
  }

  #note(message: Outgoing, outcome: SendOutcome): SendOutcome {
    if (!FAILED.has(outcome.kind) || isAboutHer(message, outcome)) this.#close()
    else if (++this.#failed >= this.#options.failures || outcome.kind === 'misconfigured' || this.#open)
      this.#trip(outcome)
    return outcome
  }

  #close(): void {
    this.#failed = 0
    this.#open = undefined
  }

  #trip(outcome: SendOutcome): void {
    const now = this.#options.clock.now()
    // Messages that were under way when it opened come back later; they say nothing new.
    if (this.#open && this.#open.until > now.getTime()) return
    const ms = Math.min(this.#options.maxOpenMs, this.#open ? this.#open.ms * 2 : this.#options.openMs)
    const code = 'code' in outcome ? outcome.code : outcome.kind
    this.#open = { since: this.#open?.since ?? now, until: now.getTime() + ms, ms, code }
  }
}

/**
 * Spares a peer that is down, and the messages that would wait for it: after some failures in a row they are answered
 * `later` at once, except for one now and then that finds out whether it is back.
 */
export function withBreaker(gateway: Gateway, options: BreakerOptions): Gateway {
  const breaker = new Breaker(options)
  return {
    ...facadeOf(gateway),
    send: (message, turn) => breaker.send(message, (one) => gateway.send(one, turn)),
    health: () => worse(breaker.health(), gateway.health?.()),
  }
}

/** What the gateway says of itself holds before any message has failed. */
function worse(breaker: GatewayHealth, own: GatewayHealth = { ok: true }): GatewayHealth {
  return own.ok ? breaker : own
}

/** Everything a gateway can do, passed on to it. */
function facadeOf(gateway: Gateway): Gateway {
  const { name, channels, onUnknown, receipts } = gateway
  const facade: Gateway = {
    ...{ name, channels, onUnknown },
    ...(receipts !== undefined && { receipts }),
    start: (ears) => gateway.start(ears),
    send: (message, turn) => gateway.send(message, turn),
    stop: () => gateway.stop(),
  }
  if (gateway.attempted) facade.attempted = () => gateway.attempted!()
  if (gateway.turn) facade.turn = (channel, until) => gateway.turn!(channel, until)
  if (gateway.turnAtOnce) facade.turnAtOnce = (channel) => gateway.turnAtOnce!(channel)
  if (gateway.lookUp) facade.lookUp = (messageId) => gateway.lookUp!(messageId)
  if ('callback' in gateway)
    (facade as CallbackGateway).callback = (callback) => (gateway as CallbackGateway).callback(callback)
  return facade
}
