import { createSocket, type RemoteInfo, type Socket } from 'node:dgram'
import { once } from 'node:events'
import { SipMessage } from './sip-message.ts'

export interface GateOptions {
  /** Our own address towards the trunk. */
  localAddress: string
  trunk: { host: string; port: number }
}

interface Address {
  address: string
  port: number
}

const LOOPBACK = '127.0.0.1'
/** What every branch begins with, RFC 3261 §8.1.1.7. */
const COOKIE = 'z9hG4bK'
const REFUSED = '603 Redirected'

/**
 * The way of one call's requests out of the house. The engine does as it is told when an answer sends the call to
 * another number, and has no setting against it; nobody else would ask whether that number may be called. So its
 * requests for a call go through here, a proxy as in RFC 3261 §16, which lets out those for the number dialled and no
 * others, and brings in a redirection as a refusal.
 *
 *     engine ── INVITE, CANCEL ──► gate ──► trunk
 *     engine ◄── 1xx 2xx 4xx-6xx ── gate ◄── trunk        3xx: 603
 *     engine ◄── what follows in the call: ACK, BYE ──► trunk
 */
export class Gate {
  readonly #inside: Socket
  readonly #outside: Socket
  readonly #trunk: Address
  #allowed = ''
  #engine: Address | undefined
  #callId: string | undefined
  #redirect: string | undefined

  private constructor(inside: Socket, outside: Socket, { trunk }: GateOptions) {
    this.#inside = inside
    this.#outside = outside
    this.#trunk = { address: trunk.host, port: trunk.port }
    inside.on('message', (datagram, from) => this.#read(datagram, from, this.#fromEngine))
    outside.on('message', (datagram, from) => this.#read(datagram, from, this.#fromTrunk))
    // A datagram that cannot be sent is as good as lost; those who wait for an answer send again.
    for (const socket of [inside, outside]) socket.on('error', () => {})
  }

  static async open(options: GateOptions): Promise<Gate> {
    const inside = createSocket('udp4').bind(0, LOOPBACK)
    const outside = createSocket('udp4').bind(0, options.localAddress)
    await Promise.all([once(inside, 'listening'), once(outside, 'listening')])
    return new Gate(inside, outside, options)
  }

  /** The engine's first hop. */
  get uri(): string {
    return `sip:${LOOPBACK}:${this.#inside.address().port}`
  }

  /** How the call was sent elsewhere; undefined as long as it was not. */
  get redirect(): string | undefined {
    return this.#redirect
  }

  /** @param uri the only one that may be called. */
  allow(uri: string): void {
    this.#allowed = uri
  }

  close(): void {
    this.#inside.close()
    this.#outside.close()
  }

  #read(datagram: Buffer, from: RemoteInfo, take: (message: SipMessage, from: RemoteInfo) => void): void {
    const message = SipMessage.read(datagram)
    if (message) take.call(this, message, from)
  }

  #fromEngine(message: SipMessage, from: RemoteInfo): void {
    if (message.method === undefined) return this.#answerTrunk(message)
    this.#engine = from
    if (!this.#isAllowed(message)) return this.#refuse(message)
    this.#callId = message.first('Call-ID')
    message.shift('Route') // ourselves
    this.#stamp(message, this.#outside)
    this.#send(this.#outside, message, this.#trunk)
  }

  /** The number dialled, by whichever request of its call. */
  #isAllowed(message: SipMessage): boolean {
    return message.target === this.#allowed && message.first('To')?.startsWith(`<${this.#allowed}>`) === true
  }

  #refuse(message: SipMessage): void {
    if (message.method !== 'INVITE') return
    this.#redirect ??= '300'
    this.#inside.send(message.answer(REFUSED), this.#engine!.port, this.#engine!.address)
  }

  #fromTrunk(message: SipMessage, from: RemoteInfo): void {
    if (this.#engine === undefined) return
    if (message.method !== undefined) return this.#askEngine(message, from)
    if (!message.shift('Via')?.startsWith(sentBy(this.#outside))) return
    if (message.target!.startsWith('3')) {
      this.#redirect = message.target!
      message.start = `SIP/2.0 ${REFUSED}`
      message.drop('Contact')
    }
    this.#send(this.#inside, message, this.#engine)
  }

  /** Some peers ignore the engine's contact and send what follows in the call to where its request came from. */
  #askEngine(message: SipMessage, from: RemoteInfo): void {
    const known = message.first('Call-ID') === this.#callId && /;\s*tag=/i.test(message.first('To') ?? '')
    if (!known) return
    this.#stamp(message, this.#inside, `;peer=${from.address}_${from.port}`)
    this.#send(this.#inside, message, this.#engine!)
  }

  #answerTrunk(message: SipMessage): void {
    const via = message.shift('Via')
    const peer = via?.startsWith(sentBy(this.#inside)) ? /;peer=([\d.]+)_(\d+)/.exec(via) : null
    if (peer) this.#send(this.#outside, message, { address: peer[1]!, port: Number(peer[2]) })
  }

  /** As RFC 3261 §16.11 has it: the same request gets the same branch, and so does what takes it back. */
  #stamp(message: SipMessage, sender: Socket, more = ''): void {
    const branch = /;\s*branch=([^;,\s]+)/i.exec(message.first('Via') ?? '')?.[1] ?? ''
    message.unshift('Via', `${sentBy(sender)};rport;branch=${COOKIE}gate-${branch.replace(COOKIE, '')}${more}`)
  }

  #send(socket: Socket, message: SipMessage, { address, port }: Address): void {
    socket.send(message.octets(), port, address)
  }
}

function sentBy(socket: Socket): string {
  const { address, port } = socket.address()
  return `SIP/2.0/UDP ${address}:${port}`
}
