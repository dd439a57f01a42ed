import { once } from 'node:events'
import net from 'node:net'

/** What the engine tells: an event of a call. */
export interface EngineEvent {
  type: string
  direction?: string
  param?: string
}

interface Packet extends Partial<EngineEvent> {
  response?: boolean
  ok?: boolean
  token?: string
}

const COLON = 0x3a
const MOST_BYTES = 1_000_000
const PATIENCE_MS = 3_000

/** Cuts a stream into netstrings, `LENGTH:CONTENT,`. */
export class Netstrings {
  #rest: Buffer = Buffer.alloc(0)

  /** @throws when the stream is no sequence of netstrings. */
  take(octets: Buffer): Buffer[] {
    this.#rest = Buffer.concat([this.#rest, octets])
    const found: Buffer[] = []
    for (let next = this.#next(); next; next = this.#next()) found.push(next)
    return found
  }

  #next(): Buffer | undefined {
    const colon = this.#rest.indexOf(COLON)
    if (colon < 0 && this.#rest.length < 8) return undefined
    const length = this.#rest.subarray(0, colon).toString('latin1')
    if (!/^\d{1,7}$/.test(length) || Number(length) > MOST_BYTES) throw new Error('not a netstring')
    const end = colon + 1 + Number(length)
    if (this.#rest.length <= end) return undefined
    const content = this.#rest.subarray(colon + 1, end)
    this.#rest = this.#rest.subarray(end + 1)
    return content
  }
}

export function netstring(content: string): Buffer {
  const bytes = Buffer.from(content)
  return Buffer.concat([Buffer.from(`${bytes.length}:`), bytes, Buffer.from(',')])
}

/** The engine's control connection: commands out, answers and events in. */
export class Control {
  readonly #socket: net.Socket
  readonly #strings = new Netstrings()
  readonly #waiting = new Map<string, (ok: boolean) => void>()
  readonly #tell: (event: EngineEvent) => void
  #last = 0

  private constructor(socket: net.Socket, tell: (event: EngineEvent) => void) {
    this.#socket = socket
    this.#tell = tell
    socket.on('data', (octets) => this.#read(octets))
    socket.on('error', () => socket.destroy())
    socket.on('close', () => {
      for (const settle of this.#waiting.values()) settle(false)
    })
  }

  /** @throws when nobody listens there. */
  static async connect(port: number, tell: (event: EngineEvent) => void): Promise<Control> {
    const socket = net.connect(port, '127.0.0.1')
    await once(socket, 'connect')
    return new Control(socket, tell)
  }

  /**
   * @returns whether the engine did it; false also when it does not answer in time. Events may come before the answer.
   */
  command(command: string, params?: string): Promise<boolean> {
    const token = String(++this.#last)
    return new Promise((resolve) => {
      const timer = setTimeout(() => settle(false), PATIENCE_MS)
      const settle = (ok: boolean) => {
        clearTimeout(timer)
        this.#waiting.delete(token)
        resolve(ok)
      }
      if (this.#socket.destroyed) return settle(false)
      this.#waiting.set(token, settle)
      this.#socket.write(netstring(JSON.stringify({ command, token, ...(params !== undefined && { params }) })))
    })
  }

  close(): void {
    this.#socket.destroy()
  }

  #read(octets: Buffer): void {
    try {
      for (const content of this.#strings.take(octets)) this.#packet(JSON.parse(content.toString()) as Packet)
    } catch {
      this.#socket.destroy()
    }
  }

  #packet({ response, token, ok, type, direction, param }: Packet): void {
    if (response) return this.#waiting.get(token ?? '')?.(ok === true)
    if (type !== undefined)
      this.#tell({ type, ...(direction !== undefined && { direction }), ...(param !== undefined && { param }) })
  }
}
