import { randomBytes } from 'node:crypto'
import { createSocket, type Socket } from 'node:dgram'
import { once } from 'node:events'
import { mediaFault } from './media.ts'
import { familyOf, hostOf, type SipConfig } from './sip-config.ts'
import { SipMessage } from './sip-message.ts'
import { openWire, type Address, type Wire, type WireOptions } from './wire.ts'

export interface GateOptions extends WireOptions, Pick<SipConfig, 'media'> {}

/** What every branch begins with, RFC 3261 §8.1.1.7. */
const COOKIE = 'z9hG4bK'
const REFUSED = '603 Redirected'
const NO_MEDIA = '488 Not Acceptable Here'
const SIP_PORT = 5060

/**
 * The way of one call's messages into and out of the house. The engine does as it is told when an answer sends the call
 * to another number, and has no setting against it; nobody else would ask whether that number may be called. So all of
 * its messages go through here, a proxy as in RFC 3261 §16, which lets out requests for a call to the number dialled
 * and no others, and brings in a redirection as a refusal. The engine itself is on the loopback only and knows nothing
 * of connections and certificates:
 *
 *     engine ── INVITE, CANCEL, ACK, BYE ──► gate ──► trunk       by datagrams, TCP or TLS
 *     engine ◄── 1xx 2xx 4xx-6xx, BYE ────── gate ◄── trunk       3xx: 603; sound that cannot be: taken out, told
 */
export class Gate {
  readonly #inside: Socket
  readonly #wire: Wire
  readonly #options: GateOptions
  /** What the engine's first request bears, so that no other program of this machine is taken for it. */
  readonly #key = randomBytes(16).toString('hex')
  #allowed = ''
  #engine: Address | undefined
  #callId: string | undefined
  /** The call is answered or refused for good. */
  #settled = false
  #redirect: string | undefined
  #fail: (cause: string) => void = () => {}

  private constructor(inside: Socket, wire: Wire, options: GateOptions) {
    this.#inside = inside
    this.#wire = wire
    this.#options = options
    inside.on('message', (datagram, from) => this.#read(datagram, from, this.#fromEngine))
    inside.on('error', () => {})
    wire.listen(
      (octets, from) => this.#read(octets, from, this.#fromTrunk),
      // Who has picked up is talked to all the same: sound goes another way.
      () => this.#settled || this.#fail('trunk-lost'),
    )
  }

  /** @throws TrunkFault when there is no connection to the trunk. */
  static async open(options: GateOptions): Promise<Gate> {
    const wire = await openWire(options)
    const family = familyOf(options)
    const inside = createSocket(`udp${family}`).bind(0, family === 6 ? '::1' : '127.0.0.1')
    await once(inside, 'listening')
    return new Gate(inside, wire, options)
  }

  /** The engine's first hop. */
  get uri(): string {
    const { address, port } = this.#inside.address()
    return `sip:${this.#key}@${hostOf(address)}:${port}`
  }

  /** How the call was sent elsewhere; undefined as long as it was not. */
  get redirect(): string | undefined {
    return this.#redirect
  }

  /**
   * @param uri the only one that may be called.
   * @param fail told once why the call cannot go on, though the engine thinks that it can.
   */
  allow(uri: string, fail: (cause: string) => void = () => {}): void {
    this.#allowed = uri
    this.#fail = fail
  }

  close(): void {
    this.#inside.close()
    this.#wire.close()
  }

  #read(octets: Buffer, from: Address, take: (message: SipMessage, from: Address) => void): void {
    const message = SipMessage.read(octets)
    if (message) take.call(this, message, from)
  }

  #fromEngine(message: SipMessage, from: Address): void {
    const isHop = message.first('Route')?.includes(this.#key) === true
    if (isHop) this.#engine ??= { address: from.address, port: from.port }
    if (this.#engine?.port !== from.port || this.#engine.address !== from.address) return
    if (isHop) message.shift('Route')
    message.alter('Contact', (contact) => this.#outward(contact))
    if (message.method === undefined) return this.#answerTrunk(message)
    if (!this.#isAllowed(message)) return this.#follow(message)
    this.#callId = message.first('Call-ID')
    // Nothing gets lost from here on: the engine need not ask again.
    if (message.method === 'INVITE' && this.#wire.reliable) this.#tellEngine(message.answer('100 Trying'))
    this.#sendOut(message, this.#trunk)
  }

  /** The number dialled, by whichever request of its call. */
  #isAllowed(message: SipMessage): boolean {
    return message.target === this.#allowed && message.first('To')?.startsWith(`<${this.#allowed}>`) === true
  }

  /** What follows in the call goes to whom the answer named, as ever; a call to somebody else goes nowhere. */
  #follow(message: SipMessage): void {
    if (message.method === 'INVITE') {
      this.#redirect ??= '300'
      return this.#tellEngine(message.answer(REFUSED))
    }
    const ours = message.first('Call-ID') === this.#callId && /;\s*tag=/i.test(message.first('To') ?? '')
    if (ours && (message.method === 'ACK' || message.method === 'BYE'))
      this.#sendOut(message, addressIn(message.first('Route') ?? message.target!) ?? this.#trunk)
  }

  get #trunk(): Address {
    return { address: this.#options.trunk.host, port: this.#options.trunk.port }
  }

  #fromTrunk(message: SipMessage, from: Address): void {
    if (this.#engine === undefined) return
    if (message.method !== undefined) return this.#askEngine(message, from)
    if (!message.shift('Via')?.startsWith(this.#wire.sentBy)) return
    const isAnswer = /\bINVITE$/.test(message.first('CSeq') ?? '')
    if (isAnswer && !message.target!.startsWith('1')) this.#settled = true
    if (message.target!.startsWith('3')) {
      this.#redirect = message.target!
      message.start = `SIP/2.0 ${REFUSED}`
      message.drop('Contact')
    } else if (isAnswer) this.#judge(message)
    this.#tellEngine(message.octets())
  }

  /** An answer to the call: what follows it comes by here too, and its sound must be such as we can send and hear. */
  #judge(message: SipMessage): void {
    if (!/^[12]/.test(message.target!)) return
    message.append('Record-Route', `<${this.uri};lr>`)
    const fault = this.#faultOf(message)
    if (fault === undefined) return
    message.dropBody()
    this.#fail(`media-${fault}`)
  }

  #faultOf({ body }: SipMessage): string | undefined {
    const wanted = { media: this.#options.media, family: familyOf(this.#options) }
    return body === '' ? undefined : mediaFault(body, wanted)
  }

  /** What the other side asks for within the call. Some peers send it to where our request came from. */
  #askEngine(message: SipMessage, from: Address): void {
    const known = message.first('Call-ID') === this.#callId && /;\s*tag=/i.test(message.first('To') ?? '')
    if (!known) return
    // Another way of sound than the one agreed on is refused, and the agreed one stays.
    const offers = ['INVITE', 'UPDATE', 'ACK'].includes(message.method!) && this.#faultOf(message) !== undefined
    if (offers && message.method !== 'ACK') return this.#wire.send(message.answer(NO_MEDIA), from)
    if (offers) message.dropBody()
    this.#stamp(message, this.#sentByInside, `;peer=${encodeURIComponent(from.address)}_${from.port}`)
    this.#tellEngine(message.octets())
  }

  #answerTrunk(message: SipMessage): void {
    const via = message.shift('Via')
    const peer = via?.startsWith(this.#sentByInside) ? /;peer=([\w.%]+)_(\d+)/.exec(via) : null
    if (peer) this.#wire.send(message.octets(), { address: decodeURIComponent(peer[1]!), port: Number(peer[2]) })
  }

  /** Where the other side finds the engine: here. */
  #outward(contact: string): string {
    const [, by, at] = /^SIP\/2\.0\/(\w+) (\S+)$/.exec(this.#wire.sentBy)!
    const way = by === 'UDP' ? '' : `;transport=${by!.toLowerCase()}`
    return contact.replace(/(<sips?:[^@>]*@)[^;>]+/, `$1${at}${way}`)
  }

  #sendOut(message: SipMessage, to: Address): void {
    this.#stamp(message, this.#wire.sentBy)
    this.#wire.send(message.octets(), to)
  }

  /** As RFC 3261 §16.11 has it: the same request gets the same branch, and so does what takes it back. */
  #stamp(message: SipMessage, sentBy: string, more = ''): void {
    const branch = /;\s*branch=([^;,\s]+)/i.exec(message.first('Via') ?? '')?.[1] ?? ''
    message.unshift('Via', `${sentBy};rport;branch=${COOKIE}gate-${branch.replace(COOKIE, '')}${more}`)
  }

  get #sentByInside(): string {
    const { address, port } = this.#inside.address()
    return `SIP/2.0/UDP ${hostOf(address)}:${port}`
  }

  #tellEngine(octets: Buffer): void {
    this.#inside.send(octets, this.#engine!.port, this.#engine!.address)
  }
}

/** The address that a SIP address names, where it names one by number. */
function addressIn(uri: string): Address | undefined {
  const [, v6, v4, port] = /^<?sips?:(?:[^@>]*@)?(?:\[([\da-f:.]+)\]|([\d.]+))(?::(\d+))?(?=[;>?]|$)/i.exec(uri) ?? []
  const address = v6 ?? v4
  return address === undefined ? undefined : { address, port: Number(port ?? SIP_PORT) }
}
