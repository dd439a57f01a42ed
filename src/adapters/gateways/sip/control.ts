import { randomBytes } from 'node:crypto'
import { once } from 'node:events'
import net, { type AddressInfo, type Socket } from 'node:net'
import { sameSecret } from '../../vault/same-secret.ts'
import {
  ACCEPTED,
  CONNECT,
  granted,
  Packets,
  passwordIn,
  payloadIn,
  PINGREQ,
  PONG,
  PUBLISH,
  publish,
  REFUSED,
  SUBSCRIBE,
  type Packet,
} from './mqtt.ts'

/** What the engine tells: an event of a call. */
export interface EngineEvent {
  type: string
  direction?: string
  param?: string
}

interface Told extends Partial<EngineEvent> {
  response?: boolean
  token?: string
}

/** Where the engine reports for duty, and the password that tells it from any other program of this machine. */
export interface ControlPoint {
  port: number
  password: string
}

const PATIENCE_MS = 3_000
const LOOPBACK = '127.0.0.1'
const COMMANDS = '/engine/command/do'

/**
 * The engine's control connection: commands out, answers and events in. The engine connects to us, not we to it: a
 * port of its own would take orders from any program of this machine. Here nobody is heard without the password, which
 * stands in the engine's own file, and once the engine has come nobody else is let in.
 */
export class Control {
  readonly point: ControlPoint
  readonly #server: net.Server
  readonly #waiting = new Map<string, (answered: boolean) => void>()
  #engine: Socket | undefined
  #ready: () => void = () => {}
  #tell: (event: EngineEvent) => void = () => {}
  #last = 0

  private constructor(server: net.Server) {
    this.#server = server
    this.point = { port: (server.address() as AddressInfo).port, password: randomBytes(24).toString('hex') }
    server.on('connection', (socket) => this.#listen(socket))
  }

  static async open(): Promise<Control> {
    const server = net.createServer().listen(0, LOOPBACK)
    await once(server, 'listening')
    return new Control(server)
  }

  /** Waits for the engine. @param tell is told its events from then on. */
  ready(tell: (event: EngineEvent) => void): Promise<void> {
    this.#tell = tell
    return new Promise((resolve) => (this.#ready = resolve))
  }

  /** @returns whether the engine has answered, in time. Events may come before the answer. */
  command(command: string, params?: string): Promise<boolean> {
    const token = String(++this.#last)
    return new Promise((resolve) => {
      const timer = setTimeout(() => settle(false), PATIENCE_MS)
      const settle = (answered: boolean) => {
        clearTimeout(timer)
        this.#waiting.delete(token)
        resolve(answered)
      }
      if (this.#engine === undefined || this.#engine.destroyed) return settle(false)
      this.#waiting.set(token, settle)
      this.#engine.write(publish(COMMANDS, JSON.stringify({ command, token, ...(params !== undefined && { params }) })))
    })
  }

  close(): void {
    this.#server.close()
    this.#engine?.destroy()
  }

  #listen(socket: Socket): void {
    const packets = new Packets()
    const stranger = setTimeout(() => socket.destroy(), PATIENCE_MS)
    socket.on('error', () => socket.destroy())
    socket.on('close', () => {
      clearTimeout(stranger)
      if (socket === this.#engine) for (const settle of this.#waiting.values()) settle(false)
    })
    socket.on('data', (octets) => {
      try {
        for (const packet of packets.take(octets)) this.#take(packet, socket)
      } catch {
        socket.destroy()
      }
      if (socket === this.#engine) clearTimeout(stranger)
    })
  }

  #take(packet: Packet, socket: Socket): void {
    if (packet.type === CONNECT) return this.#admit(packet, socket)
    if (socket !== this.#engine) throw new Error('a stranger')
    if (packet.type === PINGREQ) socket.write(PONG)
    if (packet.type === PUBLISH) this.#hear(JSON.parse(payloadIn(packet)) as Told)
    if (packet.type === SUBSCRIBE) {
      socket.write(granted(packet))
      this.#ready()
    }
  }

  #admit({ body }: Packet, socket: Socket): void {
    if (this.#engine !== undefined || !sameSecret(passwordIn(body) ?? '', this.point.password))
      return void socket.end(REFUSED)
    this.#engine = socket
    socket.write(ACCEPTED)
    this.#server.close()
  }

  #hear({ response, token, type, direction, param }: Told): void {
    if (response) return this.#waiting.get(token ?? '')?.(true)
    if (type !== undefined)
      this.#tell({ type, ...(direction !== undefined && { direction }), ...(param !== undefined && { param }) })
  }
}
