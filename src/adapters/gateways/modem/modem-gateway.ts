import { setTimeout as pause } from 'node:timers/promises'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type {
  Gateway,
  GatewayHealth,
  InboundHandlers,
  Outgoing,
  SendOutcome,
  Turn,
} from '../../../flows/ports/gateway.ts'
import { e164 } from '../e164.ts'
import { InFlight } from '../in-flight.ts'
import { NO_TURN, Turns } from '../turns.ts'
import { readModemConfig, type ModemConfig } from './modem-config.ts'
import { clear, heardIn, isThere, outName, put, takeBack } from './spool.ts'

export interface ModemGatewayDeps {
  clock: { now(): Date }
}

const LOOK_EVERY_MS = 250
const HEAR_EVERY_MS = 1_000
/** A text that the daemon is just sending is waited for, no longer: whoever stops the service waits too. */
const STOP_PATIENCE_MS = 10_000
/** Of one part; a long text may have gone out in part. GSM 03.38 and UCS-2. */
const ONE_PART = 70

/**
 * Texts through a modem with a card of the clinic's own, by the folders of its daemon. One text is with the daemon at a
 * time, so that one taken back after all its tries was certainly not being sent. It tells that a text was sent, never
 * that it arrived.
 */
class ModemGateway implements Gateway {
  readonly name: string
  readonly channels = ['sms'] as const
  readonly onUnknown: Gateway['onUnknown']
  readonly receipts = false
  readonly #config: ModemConfig
  readonly #clock: ModemGatewayDeps['clock']
  readonly #turns: Turns
  readonly #inFlight = new InFlight()
  #ears: InboundHandlers | undefined
  #hearing: Promise<void> | undefined
  #stop = new AbortController()
  #ill: { code: string; since: Date } | undefined

  constructor(config: ModemConfig, { clock }: ModemGatewayDeps) {
    this.#config = config
    this.#clock = clock
    this.name = config.name
    this.onUnknown = config.onUnknown
    this.#turns = new Turns(1, config.perMinute / 60)
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#stop = new AbortController()
    this.#ears = ears
    this.#hearing = this.#hear(ears, this.#stop.signal)
  }

  turnAtOnce(): Turn | undefined {
    return this.#turns.atOnce()
  }

  turn(_channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#turns.take(until)
  }

  async send(message: Outgoing, given?: Turn): Promise<SendOutcome> {
    if (this.#ears === undefined) return { kind: 'later', code: 'not-started' }
    if (message.notAfter <= this.#clock.now()) return { kind: 'rejected', code: 'expired' }
    const turn = await this.#turns.thisOrSoon(given)
    if (turn === undefined) return NO_TURN
    return this.#inFlight.run(async () => {
      try {
        if (!(await turn.mayWrite())) return NO_TURN
        return this.#noted(await this.#sendBy(message))
      } finally {
        turn.release()
      }
    })
  }

  health(): GatewayHealth {
    return this.#ill ? { ok: false, ...this.#ill } : { ok: true }
  }

  /** What the daemon has is waited for; the texts that came in meanwhile stay in the inbox. */
  async stop(): Promise<void> {
    this.#ears = undefined
    this.#stop.abort()
    await Promise.all([this.#inFlight.settled(), this.#hearing])
  }

  #noted(outcome: SendOutcome): SendOutcome {
    if (outcome.kind === 'accepted') this.#ill = undefined
    else this.#ill ??= { code: outcome.code, since: this.#clock.now() }
    return outcome
  }

  async #sendBy({ id, to, text }: Outgoing): Promise<SendOutcome> {
    const { outbox, sent, error, patienceSeconds } = this.#config
    const name = outName(id, to, this.#clock.now())
    try {
      await put(outbox, name, text)
    } catch {
      return { kind: 'misconfigured', code: 'no-outbox' }
    }
    for (let left = (patienceSeconds * 1000) / LOOK_EVERY_MS; left > 0; left--) {
      await pause(LOOK_EVERY_MS)
      const outcome = await this.#found(name, text, sent, error)
      if (outcome) return outcome
      if (this.#stop.signal.aborted) left = Math.min(left, STOP_PATIENCE_MS / LOOK_EVERY_MS)
    }
    if (await takeBack(outbox, name)) return { kind: 'later', code: 'modem-silent' }
    return (await this.#found(name, text, sent, error)) ?? { kind: 'unknown', code: 'not-found' }
  }

  async #found(name: string, text: string, sent: string, error: string): Promise<SendOutcome | undefined> {
    if (await isThere(sent, name)) {
      await clear(sent, name)
      return { kind: 'accepted', ref: name.replace(/\.txt$/, '') }
    }
    if (!(await isThere(error, name))) return undefined
    await clear(error, name)
    return text.length <= ONE_PART ? { kind: 'later', code: 'modem-error' } : { kind: 'unknown', code: 'modem-error' }
  }

  async #hear(ears: InboundHandlers, until: AbortSignal): Promise<void> {
    while (!until.aborted) {
      await this.#hearOnce(ears)
      await pause(HEAR_EVERY_MS, undefined, { signal: until }).catch(() => undefined)
    }
  }

  /** A text is removed once it is kept; what could not be kept is read again. */
  async #hearOnce(ears: InboundHandlers): Promise<void> {
    const { inbox } = this.#config
    const heard = await heardIn(inbox, new Date()).catch(() => {
      this.#ill ??= { code: 'no-inbox', since: this.#clock.now() }
      return []
    })
    for (const { key, from, text, at, files } of heard) {
      const number = e164(from)
      try {
        // Services write from short codes and names: nobody to answer.
        if (number !== undefined) await ears.message({ gateway: this.name, key, from: number, text, at })
        for (const file of files) await clear(inbox, file)
      } catch {
        return
      }
    }
  }
}

/** @throws Failure `bad-input` with every fault of the description */
export function createModemGateway(described: unknown, deps: ModemGatewayDeps): Gateway {
  return new ModemGateway(readModemConfig(described), deps)
}
