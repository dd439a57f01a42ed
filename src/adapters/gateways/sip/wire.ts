import { createSocket, type Socket as UdpSocket } from 'node:dgram'
import { once } from 'node:events'
import net from 'node:net'
import tls from 'node:tls'
import { isRefusedLiteral } from '../egress-guard.ts'
import { familyOf, hostOf, type SipConfig } from './sip-config.ts'
import { SipStream } from './sip-stream.ts'
import { TrunkFault, trunkFaultOf } from './trunk-fault.ts'

export interface Address {
  address: string
  port: number
}

export interface WireOptions extends Pick<SipConfig, 'localAddress' | 'transport'> {
  trunk: { host: string; port: number }
  tls?: { serverName?: string | undefined } | undefined
  /** Certificates of the authority that the trunk's own must come from; otherwise those that Node trusts. */
  authority?: string | undefined
}

/** Our end of what a call's messages go to the trunk by. */
export interface Wire {
  /** How a Via names it: `SIP/2.0/TLS 192.0.2.20:40000`. */
  readonly sentBy: string
  /** Whether nothing gets lost on it. */
  readonly reliable: boolean
  /** Who hears what comes, and when the connection ends. */
  listen(take: (octets: Buffer, from: Address) => void, lost: () => void): void
  /** @param to the trunk; somebody else only where there is no connection. */
  send(octets: Buffer, to: Address): void
  close(): void
}

const CONNECT_MS = 5_000

/** @throws TrunkFault when there is no connection, or not to who the trunk should be. */
export async function openWire(options: WireOptions): Promise<Wire> {
  if (isRefusedLiteral(options.trunk.host)) throw new TrunkFault('misconfigured', 'egress_refused')
  return options.transport === 'udp' ? Datagrams.open(options) : Connection.open(options)
}

class Datagrams implements Wire {
  readonly reliable = false
  readonly #socket: UdpSocket

  private constructor(socket: UdpSocket) {
    this.#socket = socket
  }

  static async open({ localAddress }: WireOptions): Promise<Datagrams> {
    const socket = createSocket(`udp${familyOf({ localAddress })}`).bind(0, localAddress)
    await once(socket, 'listening')
    // A datagram that cannot be sent is as good as lost; those who wait for an answer send again.
    socket.on('error', () => {})
    return new Datagrams(socket)
  }

  get sentBy(): string {
    const { address, port } = this.#socket.address()
    return `SIP/2.0/UDP ${hostOf(address)}:${port}`
  }

  listen(take: (octets: Buffer, from: Address) => void): void {
    this.#socket.on('message', take)
  }

  send(octets: Buffer, { address, port }: Address): void {
    this.#socket.send(octets, port, address)
  }

  close(): void {
    this.#socket.close()
  }
}

/**
 * A connection of one call, with or without TLS. Where it is lost it is made anew for the next message, so that the
 * other side hears that the call is over.
 */
class Connection implements Wire {
  readonly reliable = true
  readonly sentBy: string
  readonly #options: WireOptions
  #socket: net.Socket
  #renewed: Promise<net.Socket> | undefined
  #closed = false
  #take: (octets: Buffer, from: Address) => void = () => {}
  #lost: () => void = () => {}

  private constructor(options: WireOptions, socket: net.Socket) {
    this.#options = options
    this.#socket = socket
    const by = options.transport === 'tls' ? 'TLS' : 'TCP'
    this.sentBy = `SIP/2.0/${by} ${hostOf(options.localAddress)}:${socket.localPort}`
    this.#hear(socket)
  }

  static async open(options: WireOptions): Promise<Connection> {
    return new Connection(options, await connect(options))
  }

  listen(take: (octets: Buffer, from: Address) => void, lost: () => void): void {
    this.#take = take
    this.#lost = lost
    if (this.#socket.destroyed) lost()
  }

  send(octets: Buffer): void {
    if (!this.#socket.destroyed) return void this.#socket.write(octets)
    this.#renewed ??= connect(this.#options).finally(() => (this.#renewed = undefined))
    this.#renewed.then(
      (socket) => {
        if (this.#closed) return void socket.end(octets)
        if (this.#socket.destroyed) this.#hear((this.#socket = socket))
        this.#socket.write(octets)
      },
      () => {},
    )
  }

  /** What was just sent still goes out. */
  close(): void {
    this.#closed = true
    this.#socket.end()
    setTimeout(() => this.#socket.destroy(), CONNECT_MS).unref()
  }

  #hear(socket: net.Socket): void {
    const stream = new SipStream()
    const { host, port } = this.#options.trunk
    socket.on('data', (octets) => {
      try {
        for (const message of stream.take(octets)) this.#take(message, { address: host, port })
      } catch {
        socket.destroy()
      }
    })
    socket.on('error', () => socket.destroy())
    // Who says that nothing more comes is gone for us.
    socket.on('end', () => socket.destroy())
    socket.on('close', () => {
      if (!this.#closed) this.#lost()
    })
  }
}

async function connect({ trunk, localAddress, transport, ...options }: WireOptions): Promise<net.Socket> {
  const to = { ...trunk, localAddress }
  const secure = transport === 'tls'
  const socket = secure ? tls.connect({ ...to, ...trustOf(options) }) : net.connect(to)
  try {
    await once(socket, secure ? 'secureConnect' : 'connect', { signal: AbortSignal.timeout(CONNECT_MS) })
  } catch (error) {
    socket.on('error', () => {}).destroy()
    throw (error as Error).name === 'AbortError' ? new TrunkFault('later', 'connect-timeout') : trunkFaultOf(error)
  }
  return socket.setNoDelay().setKeepAlive(true)
}

/** The certificate is checked whatever the environment says. */
function trustOf({ tls: named, authority }: Pick<WireOptions, 'tls' | 'authority'>): tls.ConnectionOptions {
  const ca = authority === undefined ? {} : { ca: authority }
  // An address is no name to ask for (RFC 6066 §3).
  return { ...ca, servername: named?.serverName ?? '', rejectUnauthorized: true, minVersion: 'TLSv1.2' }
}
