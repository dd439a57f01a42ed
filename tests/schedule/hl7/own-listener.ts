import net from 'node:net'
import tls from 'node:tls'
import pino from 'pino'
import { answering } from '../../../src/adapters/schedule/hl7/answering.ts'
import { LIMITS, type Limits } from '../../../src/adapters/schedule/hl7/connection.ts'
import { startListener, type Listener, type ListenerSettings } from '../../../src/adapters/schedule/hl7/listener.ts'
import type { Feed } from '../../../src/domain/schedule/feed.ts'
import { TestWorld } from '../../harness/world.ts'
import { FEED as SKERRY, msh, pid, sch, siu } from './messages.ts'

export const FEED: Feed = { ...SKERRY, usualLanguage: 'en' }

/** A service on virtual time that takes messages over a real port. */
export interface Listening {
  world: TestWorld
  port: number
  /** What its log has, one JSON object a line. */
  log: string[]
  stop: Listener['stop']
}

export async function listening(
  {
    limits = {},
    tls: secure = {},
    feeds = [FEED],
  }: {
    limits?: Partial<Limits>
    tls?: Partial<ListenerSettings>
    feeds?: Feed[]
  } = {},
  databaseUrl?: string,
): Promise<Listening> {
  const world = await TestWorld.create('2026-03-02T13:00:00Z', databaseUrl, [], { feeds })
  const log: string[] = []
  const around = {
    log: pino({ level: 'debug' }, { write: (line: string) => void log.push(line) }),
    metrics: world.composed.metrics.feeds,
  }
  const settings = { host: '127.0.0.1', port: 0, ...secure }
  const listener = await startListener(settings, answering({ deps: world.deps, ...around }), around, {
    ...LIMITS,
    ...limits,
  })
  return { world, log, ...listener }
}

export const bookingsOf = ({ world }: Pick<Listening, 'world'>) =>
  world.deps.store.read.bookings.list({ limit: 10_000 })
export const faultsOf = ({ world }: Pick<Listening, 'world'>) => world.deps.store.read.feeds.faults(FEED.name, 100)

/** Area codes of Canada, so that many patients have numbers of their own, all set apart for fiction (555-01xx). */
const AREAS = [902, 613, 416, 514, 604, 403, 204, 306, 506, 709, 519, 705, 250, 418, 819, 905, 647, 778, 587, 867]

/** A booking of the n-th of many patients, as an invented hospital tells it. */
export function bookingOf(n: number, { head = {}, on = '20260310' } = {}): string {
  const two = (value: number) => String(value).padStart(2, '0')
  const starts = `${on}${two(8 + (Math.floor(n / 60) % 12))}${two(n % 60)}00`
  const number = `${AREAS[Math.floor(n / 100) % AREAS.length]}55501${two(n % 100)}`
  return siu({
    MSH: msh('S12', { 10: `C${n}`, ...head }),
    SCH: sch({ 2: `F${n}^SKERRY`, 11: `^^^${starts}` }),
    PID: pid({ 3: `P${n}^^^SKERRY^MR`, 5: `Mabel${n}^Ines^^^^^L`, 13: `${number}^PRN^CP` }),
  })
}

const END = '\x1c\r'
export const framed = (message: string) => `\x0b${message}${END}`

/** A sender that speaks bytes: it shares no code with the service, and keeps nothing from being wrong. */
export class RawSender {
  readonly socket: net.Socket
  readonly closed: Promise<void>
  #text = ''
  readonly #waiting: (() => void)[] = []

  constructor(port: number, secure?: tls.ConnectionOptions) {
    this.socket = secure ? tls.connect({ port, host: '127.0.0.1', ...secure }) : net.connect(port, '127.0.0.1')
    this.socket.setNoDelay(true)
    this.socket.on('error', () => {})
    this.socket.on('data', (chunk: Buffer) => {
      this.#text += chunk.toString('latin1')
      for (const wake of this.#waiting.splice(0)) wake()
    })
    this.closed = new Promise((done) =>
      this.socket.once('close', () => {
        for (const wake of this.#waiting.splice(0)) wake()
        done()
      }),
    )
  }

  write(text: string | Uint8Array): this {
    this.socket.write(typeof text === 'string' ? Buffer.from(text, 'latin1') : text)
    return this
  }

  /** The next acknowledgement, as `MSA-1 MSA-2`; undefined where the connection ends first. */
  async next(): Promise<string | undefined> {
    while (!this.#text.includes(END)) {
      if (this.socket.closed || this.socket.destroyed) return undefined
      await new Promise<void>((wake) => this.#waiting.push(wake))
    }
    const end = this.#text.indexOf(END)
    const [, code, id = ''] = /\rMSA\|(\w\w)\|?([^|\r]*)/.exec(this.#text.slice(0, end))!
    this.#text = this.#text.slice(end + END.length)
    return `${code} ${id}`
  }

  /** What has been answered and not looked at. */
  get left(): string {
    return this.#text
  }

  async send(message: string): Promise<string | undefined> {
    return this.write(framed(message)).next()
  }

  end(): void {
    this.socket.destroy()
  }
}
