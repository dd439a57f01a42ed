import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type {
  InboundHandlers,
  Gateway,
  GatewayHealth,
  Outgoing,
  SendOutcome,
  Turn,
} from '../../../flows/ports/gateway.ts'
import type { GatewayMemory, LongText } from '../../../flows/ports/gateway-memory.ts'
import { secretOf } from '../described.ts'
import type { Wording } from '../octets.ts'
import { readAuthority } from '../authority.ts'
import { InFlight } from '../in-flight.ts'
import { patientOf } from './addresses.ts'
import { BoundLink, type BoundLinkOptions } from './bound-link.ts'
import { pieceOf, readPieces, readText, type Piece } from './inbound.ts'
import type { Link } from './link.ts'
import { Occurrences } from './occurrences.ts'
import { STATUS, type Pdu } from './pdu.ts'
import { Reassembly, type Inbound } from './reassembly.ts'
import { readReceipt } from './receipts.ts'
import { SentBook, type Verdict } from './sent-book.ts'
import { readSmppConfig, type SmppConfig } from './smpp-config.ts'
import { Submitter } from './submitter.ts'

export interface SmppGatewayDeps {
  clock: { now(): Date }
  random: () => number
  /** Resolves the NAME of an `env:NAME`. */
  secret: (name: string) => string | undefined
  /** What outlives the process, and is shared with other workers. */
  memory: GatewayMemory
  /** The gateway that this one is a member of: parts are kept under both names. */
  within?: string | undefined
  /** Told when the connection is refused or lost, and when it stands again. */
  tell?: (what: 'gateway-down' | 'gateway-up', facts: { gateway: string; code?: string }) => void
}

const START_PATIENCE_MS = 2_000
const LOOK_EVERY_MS = 5_000
/** Kind of message in esm_class, SMPP 3.4 §5.2.12. */
const KIND = { mask: 0x3c, receipt: 0x04 } as const

/** Texts through a message centre that speaks SMPP 3.4. */
class SmppGateway implements Gateway {
  readonly name: string
  readonly channels = ['sms'] as const
  readonly onUnknown: Gateway['onUnknown']
  readonly receipts: boolean
  readonly #config: SmppConfig
  readonly #deps: SmppGatewayDeps
  readonly #sender: BoundLink
  readonly #receiver: BoundLink | undefined
  readonly #book: SentBook
  readonly #submitter: Submitter
  readonly #inFlight = new InFlight()
  readonly #occurrences: Occurrences
  readonly #reassembly: Reassembly
  #looking: { timer: NodeJS.Timeout; last: Promise<void> } | undefined
  #ears: InboundHandlers | undefined
  #down: GatewayHealth | undefined

  constructor(config: SmppConfig, deps: SmppGatewayDeps) {
    this.#config = config
    this.#deps = deps
    this.name = config.name
    this.onUnknown = config.onUnknown
    this.receipts = config.registeredDelivery !== 0
    const link = linkOptions(config, deps)
    const news = {
      onRequest: (pdu: Pdu, from: Link) => this.#news(pdu, from),
      onLost: (lost: Link) => this.#lost(lost),
      onChange: (trouble: string | undefined) => this.#changed(trouble),
    }
    const pair = config.bind === 'pair'
    this.#sender = new BoundLink({ ...link, ...news, role: pair ? 'transmitter' : 'transceiver' })
    this.#receiver = pair ? new BoundLink({ ...link, ...news, role: 'receiver' }) : undefined
    const { longTexts: texts, sentParts: parts } = deps.memory
    const gateway = deps.within === undefined ? config.name : `${deps.within}/${config.name}`
    const common = { gateway, now: () => deps.clock.now(), newId: () => this.#newKey() }
    this.#book = new SentBook({ ...common, parts, tell: (verdict) => this.#tellReceipt(verdict) })
    this.#submitter = new Submitter(config, this.#sender, this.#book, deps.random)
    this.#occurrences = new Occurrences(() => this.#newKey())
    const hear = (text: LongText, pieces: (Piece | undefined)[]) => this.#hearLong(text, readPieces(pieces, config))
    this.#reassembly = new Reassembly({ ...common, texts, hear, patienceMs: config.reassemblyMs })
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#ears = ears
    this.#lookAfterParts()
    await Promise.all([this.#sender.start(START_PATIENCE_MS), this.#receiver?.start(START_PATIENCE_MS)])
  }

  async attempted(): Promise<void> {
    await Promise.all([this.#sender.attempted(), this.#receiver?.attempted()])
  }

  health(): GatewayHealth {
    return this.#down ?? { ok: true }
  }

  turnAtOnce(): Turn | undefined {
    return this.#submitter.turnAtOnce()
  }

  turn(_channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#submitter.turn(until)
  }

  async send(message: Outgoing, turn?: Turn): Promise<SendOutcome> {
    const now = this.#deps.clock.now()
    if (this.#ears === undefined) return { kind: 'later', code: 'not-started' }
    if (message.notAfter <= now) return { kind: 'rejected', code: 'expired' }
    return this.#inFlight.run(() => this.#submitter.send(message, now, turn))
  }

  async stop(): Promise<void> {
    await this.#inFlight.settled()
    clearInterval(this.#looking?.timer)
    await this.#looking?.last
    await Promise.all([this.#sender.stop(), this.#receiver?.stop()])
    this.#ears = undefined
  }

  /**
   * Something came from the peer. It is acknowledged only once it is stored; a rejection asks the peer to send it
   * again.
   */
  async #news(pdu: Pdu, link: Link): Promise<number> {
    const kind = Number(pdu.esm_class ?? 0) & KIND.mask
    const told = typeof pdu.receipted_message_id === 'string' && kind === 0
    if (kind === KIND.receipt || told) await this.#takeReceipt(pdu)
    else if (kind === 0) await this.#takeReply(pdu, link)
    return STATUS.ok // every other kind tells of a step on the way, which nobody asked for
  }

  async #takeReceipt(pdu: Pdu): Promise<void> {
    const { octets, dataCoding } = pieceOf(pdu)
    const facts = readReceipt(pdu, readText(octets, dataCoding, this.#config).text, this.#config.ids)
    if (facts === undefined || facts.state === 'pending') return
    if (!this.#book.knows(facts.ref)) await this.#submitter.settled()
    await this.#book.take({ ...facts, state: facts.state })
  }

  #tellReceipt(verdict: Verdict): Promise<void> {
    return this.#ear().receipt({ ...verdict, gateway: this.name, at: this.#deps.clock.now() })
  }

  async #takeReply(pdu: Pdu, link: Link): Promise<void> {
    const from = patientOf(String(pdu.source_addr), Number(pdu.source_addr_ton), this.#config.country)
    if (from === undefined) return // a name or a short code: no patient writes from one
    const piece = pieceOf(pdu)
    const about = { from, to: String(pdu.destination_addr) }
    if (piece.part === undefined) return this.#hear(about, readPieces([piece], this.#config), link)
    return this.#reassembly.add(about, piece.part, piece)
  }

  /** Its id is its key: whoever hears it, and how often, it is the same text. */
  #hearLong({ id: key, from, at }: LongText, wording: Wording): Promise<void> {
    return this.#ear().message({ gateway: this.name, key, from, ...wording, at })
  }

  async #hear({ from, to }: Inbound, wording: Wording, link: Link): Promise<void> {
    const at = this.#deps.clock.now()
    const content = JSON.stringify([from, to, wording])
    const key = this.#occurrences.keyOf(content, link, at.getTime())
    await this.#ear().message({ gateway: this.name, key, from, ...wording, at })
    this.#occurrences.acknowledged(content, this.#deps.clock.now().getTime())
  }

  #ear(): InboundHandlers {
    if (this.#ears === undefined) throw new Error('nobody listens')
    return this.#ears
  }

  /** Now and then: what waited long enough, and what a worker left that is gone. */
  #lookAfterParts(): void {
    let isBusy = false
    const look = async () => {
      if (isBusy) return
      isBusy = true
      // What fails, as while the database is away, is tried again the next time.
      await this.#reassembly.hearDue().catch(() => {})
      await this.#book.tellDue().catch(() => {})
      isBusy = false
    }
    const again = () => void (looking.last = isBusy ? looking.last : look())
    const timer = setInterval(again, Math.min(LOOK_EVERY_MS, this.#config.reassemblyMs)).unref()
    const looking = { timer, last: look() }
    this.#looking = looking
  }

  #lost(link: Link): void {
    this.#occurrences.lost(link, this.#deps.clock.now().getTime())
  }

  #changed(trouble: string | undefined): void {
    const isUp = trouble === undefined
    if (isUp && this.#down === undefined) return
    this.#down = isUp ? undefined : { ok: false, code: trouble, since: this.#deps.clock.now() }
    const code = isUp ? {} : { code: trouble }
    this.#deps.tell?.(isUp ? 'gateway-up' : 'gateway-down', { gateway: this.name, ...code })
  }

  #newKey(): string {
    const { clock, random } = this.#deps
    return `${this.name}-${clock.now().getTime().toString(36)}-${Math.floor(random() * 2 ** 40).toString(36)}`
  }
}

/** Makes a gateway to an SMPP message centre from its description: see `smpp-config.ts`. */
export function createSmppGateway(raw: unknown, deps: SmppGatewayDeps): Gateway {
  return new SmppGateway(readSmppConfig(raw), deps)
}

function linkOptions(
  config: SmppConfig,
  { secret, random }: SmppGatewayDeps,
): Omit<BoundLinkOptions, 'role' | 'onRequest' | 'onLost' | 'onChange'> {
  const { host, port, connectMs, answerMs, enquireMs, reconnectMs, reconnectMaxMs, statuses, window } = config
  const password = secretOf(config.name, config.password, secret)
  return {
    ...{ host, port, connectMs, answerMs, enquireMs, reconnectMs, reconnectMaxMs, statuses, random },
    patience: window,
    tls: config.tls && tlsOptions(config.tls),
    identity: { system_id: config.systemId, password, system_type: config.systemType, interface_version: 0x34 },
  }
}

function tlsOptions({ caFile, serverName }: NonNullable<SmppConfig['tls']>): NonNullable<BoundLinkOptions['tls']> {
  const ca = caFile === undefined ? {} : { ca: readAuthority(caFile) }
  return serverName === undefined ? ca : { ...ca, serverName }
}
