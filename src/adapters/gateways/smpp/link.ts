import net from 'node:net'
import tls from 'node:tls'
import { guardedLookup } from '../egress-guard.ts'
import { decodePdu, encodePdu, Framer, headerOf, isResponse, STATUS, type Fields, type Pdu } from './pdu.ts'

export interface LinkOptions {
  host: string
  port: number
  tls?: { ca?: string; serverName?: string } | undefined
  connectMs: number
  answerMs: number
  /** After this long without hearing anything, the peer is asked whether it is there. */
  enquireMs: number
  /** How many answers in a row may fail to come before the peer counts as gone. */
  patience: number
}

/** `lost`: the connection ended first. `timeout`: no answer in time; one that comes late still goes to `late`. */
export type Reply = { pdu: Pdu; status: number } | 'lost' | 'timeout'

/** A request of the peer. Resolves with the status to answer with, once whatever it says is stored. */
export type OnRequest = (pdu: Pdu) => Promise<number>

interface Pending {
  settle: (reply: Reply) => void
  late: ((reply: { pdu: Pdu; status: number }) => void) | undefined
  timer: NodeJS.Timeout
  overdue: boolean
}

const MAX_SEQUENCE = 0x7fffffff
/** An answer that comes even later than this many times the usual patience is not listened to. */
const LATE_FACTOR = 10
const GOODBYE_MS = 2_000

/**
 * One connection that speaks SMPP, from the moment it is open until it is lost. Every request ends in exactly one
 * reply; nothing the peer sends, or fails to send, leaves it hanging.
 */
export class Link {
  readonly closed: Promise<string>
  readonly #socket: net.Socket
  readonly #options: LinkOptions
  readonly #onRequest: OnRequest
  readonly #pending = new Map<number, Pending>()
  readonly #framer = new Framer()
  #sequence = 0
  #overdue = 0
  #heardAt = Date.now()
  #reason = 'lost'

  constructor(socket: net.Socket, options: LinkOptions, onRequest: OnRequest) {
    this.#socket = socket
    this.#options = options
    this.#onRequest = onRequest
    const enquiring = setInterval(() => void this.#enquire(), options.enquireMs)
    this.closed = new Promise((resolve) => socket.once('close', () => resolve(this.#reason)))
    void this.closed.then(() => clearInterval(enquiring))
    socket.setNoDelay(true)
    socket.on('data', (chunk) => this.#read(chunk))
    socket.on('error', (error) => this.destroy(codeOf(error)))
    socket.on('close', () => this.#lose())
  }

  get open(): boolean {
    return this.#socket.writable
  }

  /** Sends a request. `late` hears an answer that comes after the reply `timeout`. */
  request(command: string, fields: Fields = {}, late?: Pending['late']): Promise<Reply> {
    if (!this.open) return Promise.resolve('lost')
    this.#sequence = this.#sequence === MAX_SEQUENCE ? 1 : this.#sequence + 1
    const sequence = this.#sequence
    return new Promise((settle) => {
      const timer = setTimeout(() => this.#tooLate(sequence), this.#options.answerMs)
      this.#pending.set(sequence, { settle, late, timer, overdue: false })
      this.#write(encodePdu(command, sequence, fields))
    })
  }

  /** Says goodbye and closes. */
  async unbind(): Promise<void> {
    const impatience = setTimeout(() => this.destroy('unbound'), GOODBYE_MS)
    await this.request('unbind')
    clearTimeout(impatience)
    this.destroy('unbound')
  }

  destroy(reason: string): void {
    if (!this.#socket.destroyed) this.#reason = reason
    this.#socket.destroy()
  }

  #read(chunk: Buffer): void {
    this.#heardAt = Date.now()
    try {
      this.#framer.cut(chunk, (frame) => this.#take(frame))
    } catch {
      this.#socket.write(encodePdu('generic_nack', 0, {}, STATUS.badLength)) // at once: the connection ends here
      this.destroy('garbled')
    }
  }

  #take(frame: Buffer): void {
    const header = headerOf(frame)
    const pdu = decodePdu(frame)
    if (isResponse(header)) return this.#answered(header.sequence, header.status, pdu)
    if (pdu === undefined) return this.#write(encodePdu('generic_nack', header.sequence, {}, STATUS.badLength))
    void this.#serve(pdu)
  }

  #answered(sequence: number, status: number, pdu: Pdu | undefined): void {
    const pending = this.#pending.get(sequence)
    if (pending === undefined || pdu === undefined) return // answered twice, or never asked
    this.#pending.delete(sequence)
    clearTimeout(pending.timer)
    this.#overdue = 0
    if (pending.overdue) pending.late?.({ pdu, status })
    else pending.settle({ pdu, status })
  }

  #tooLate(sequence: number): void {
    const pending = this.#pending.get(sequence)!
    pending.overdue = true
    pending.timer = setTimeout(() => this.#pending.delete(sequence), this.#options.answerMs * LATE_FACTOR)
    pending.settle('timeout')
    if (++this.#overdue >= this.#options.patience) this.destroy('silent')
  }

  /** Answers a request of the peer: the link itself what concerns the link, `onRequest` what carries news. */
  async #serve(pdu: Pdu): Promise<void> {
    if (pdu.command === 'deliver_sm' || pdu.command === 'data_sm') {
      const status = await this.#onRequest(pdu).catch(() => STATUS.tryAgain)
      this.#write(encodePdu(`${pdu.command}_resp`, pdu.sequence_number, { message_id: '' }, status))
    } else if (pdu.command === 'enquire_link' || pdu.command === 'unbind') {
      this.#write(encodePdu(`${pdu.command}_resp`, pdu.sequence_number))
      if (pdu.command === 'unbind') this.#socket.end()
    } else if (pdu.command !== 'alert_notification') {
      this.#write(encodePdu('generic_nack', pdu.sequence_number, {}, STATUS.unknownCommand))
    }
  }

  async #enquire(): Promise<void> {
    if (Date.now() - this.#heardAt < this.#options.enquireMs) return
    const reply = await this.request('enquire_link')
    if (reply === 'timeout' && Date.now() - this.#heardAt > this.#options.answerMs) this.destroy('silent')
  }

  /** What is written in one turn of the event loop goes out together. */
  #write(octets: Buffer): void {
    if (!this.open) return
    if (this.#socket.writableCorked === 0) {
      this.#socket.cork()
      process.nextTick(() => this.#socket.uncork())
    }
    this.#socket.write(octets)
  }

  #lose(): void {
    for (const { settle, timer } of this.#pending.values()) {
      clearTimeout(timer)
      settle('lost')
    }
    this.#pending.clear()
  }
}

/** Why there is no connection. `untrusted`: the peer's certificate does not hold. */
export class NoLink extends Error {
  readonly kind: 'down' | 'untrusted'

  constructor(kind: NoLink['kind'], code: string) {
    super(code)
    this.kind = kind
  }
}

/** Opens a connection; over TLS it is open once the certificate has been verified. */
export function connectLink(options: LinkOptions, onRequest: OnRequest): Promise<Link> {
  const { host, port } = options
  const secure = options.tls && {
    ca: options.tls.ca,
    servername: options.tls.serverName ?? (net.isIP(host) ? '' : host),
  }
  const lookup = guardedLookup()
  const socket = secure ? tls.connect({ host, port, lookup, ...secure }) : net.connect({ host, port, lookup })
  return new Promise((resolve, reject) => {
    const patience = setTimeout(
      () => socket.destroy(Object.assign(new Error(), { code: 'connect-timeout' })),
      options.connectMs,
    )
    const fail = (error: Error) => {
      clearTimeout(patience)
      const code = codeOf(error)
      reject(new NoLink(/CERT|SELF_SIGNED|UNABLE_TO_VERIFY|ALTNAME/i.test(code) ? 'untrusted' : 'down', code))
    }
    socket.once('error', fail)
    socket.once(secure ? 'secureConnect' : 'connect', () => {
      clearTimeout(patience)
      socket.off('error', fail)
      resolve(new Link(socket, options, onRequest))
    })
  })
}

function codeOf(error: Error): string {
  return 'code' in error && typeof error.code === 'string' ? error.code.toLowerCase() : 'broken'
}
