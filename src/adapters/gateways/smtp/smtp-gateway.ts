import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type {
  Gateway,
  GatewayHealth,
  InboundHandlers,
  Outgoing,
  SendOutcome,
  Turn,
} from '../../../flows/ports/gateway.ts'
import { readAuthority } from '../authority.ts'
import { secretOf } from '../described.ts'
import { InFlight } from '../in-flight.ts'
import { NO_TURN, Turns } from '../turns.ts'
import { asciiAddress, domainOf } from './ascii-address.ts'
import { messageIdOf, writeLetter } from './letter.ts'
import { deliver, type MailServer } from './session.ts'
import { readSmtpConfig, type SmtpConfig } from './smtp-config.ts'

export interface SmtpGatewayDeps {
  clock: { now(): Date }
  /** Resolves the NAME of an `env:NAME`. */
  secret: (name: string) => string | undefined
}

/**
 * E-mail through a server that takes it for others. It tells that a letter was taken, never that it was read.
 *
 * `receipts` is left undefined, though none ever come: false would say that what was accepted counts as arrived, which
 * holds for no e-mail, and a failover of texts and e-mail would believe it of its texts too.
 */
class SmtpGateway implements Gateway {
  readonly name: string
  readonly channels = ['email'] as const
  readonly onUnknown: Gateway['onUnknown']
  readonly #config: SmtpConfig
  readonly #clock: SmtpGatewayDeps['clock']
  readonly #server: MailServer
  readonly #turns: Turns
  readonly #inFlight = new InFlight()
  #isStarted = false
  #ill: { code: string; since: Date } | undefined

  constructor(config: SmtpConfig, { clock, secret }: SmtpGatewayDeps) {
    this.#config = config
    this.#clock = clock
    this.name = config.name
    this.onUnknown = config.onUnknown
    this.#server = serverOf(config, secret)
    this.#turns = new Turns(config.maxConnections, config.ratePerSecond)
  }

  async start(_ears: InboundHandlers): Promise<void> {
    this.#isStarted = true
  }

  turnAtOnce(): Turn | undefined {
    return this.#turns.atOnce()
  }

  turn(_channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#turns.take(until)
  }

  async send(message: Outgoing, given?: Turn): Promise<SendOutcome> {
    if (!this.#isStarted) return { kind: 'later', code: 'not-started' }
    const now = this.#clock.now()
    if (message.notAfter <= now) return { kind: 'rejected', code: 'expired' }
    const to = asciiAddress(message.to)
    if (to === undefined) return { kind: 'rejected', code: 'bad-address' }
    const { allow } = this.#config
    if (allow && !allow.includes(domainOf(to))) return { kind: 'rejected', code: 'not-allowed' }
    return this.#inFlight.run(() => this.#inTurn(message, to, given))
  }

  health(): GatewayHealth {
    return this.#ill ? { ok: false, ...this.#ill } : { ok: true }
  }

  async stop(): Promise<void> {
    this.#isStarted = false
    await this.#inFlight.settled()
  }

  async #inTurn(message: Outgoing, to: string, given: Turn | undefined): Promise<SendOutcome> {
    const turn = await this.#turns.thisOrSoon(given)
    try {
      return (await turn?.mayWrite()) ? this.#noted(await this.#hand(message, to)) : NO_TURN
    } finally {
      turn?.release()
    }
  }

  /** Its reference is the Message-ID, by which it is found in the books of every server on its way. */
  async #hand(message: Outgoing, to: string): Promise<SendOutcome> {
    const letter = await writeLetter(message, to, this.#config, this.#clock.now())
    const outcome = await deliver({ from: this.#config.from.address, to }, letter, this.#server)
    return outcome.kind === 'accepted' ? { ...outcome, ref: messageIdOf(message.id, this.#config) } : outcome
  }

  /** A refusal of one letter for good is an answer: the server works. One for now says nothing of the others. */
  #noted(outcome: SendOutcome): SendOutcome {
    if (outcome.kind === 'accepted' || outcome.kind === 'rejected') this.#ill = undefined
    else if (!outcome.code.startsWith('smtp-')) this.#ill ??= { code: outcome.code, since: this.#clock.now() }
    return outcome
  }
}

/**
 * Makes a gateway for e-mail from its description: see `smtp-config.ts`.
 * @throws Failure `bad-input` with every fault of the description, or for a secret or file that is not there
 */
export function createSmtpGateway(raw: unknown, deps: SmtpGatewayDeps): Gateway {
  return new SmtpGateway(readSmtpConfig(raw), deps)
}

function serverOf(config: SmtpConfig, secret: SmtpGatewayDeps['secret']): MailServer {
  const { host, port, tls, auth, connectMs, answerMs } = config
  const secure = {
    ...(tls.caFile !== undefined && { ca: readAuthority(tls.caFile) }),
    ...(tls.serverName !== undefined && { servername: tls.serverName }),
  }
  return {
    ...{ host, port, connectMs, answerMs, mode: tls.mode, tls: secure },
    auth: auth && { user: auth.user, pass: secretOf(config.name, auth.password, secret) },
  }
}
