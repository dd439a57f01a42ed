import { createSocket } from 'node:dgram'
import { expect, vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { freePort, present, Program } from './programs.ts'

/** Net::SMPP and what else smsc.pl needs, as in Debian's libnet-smpp-perl. */
export const perlSmscPresent = () => present('perl', ['-MNet::SMPP', '-MEncode', '-MJSON::PP', '-e1'])

/** One line that the message centre writes about a message it took. */
export interface PerlTaken {
  to: string
  text: string
  part?: number[]
  [field: string]: unknown
}

/** The message centre of smsc.pl, running. */
export class PerlSmsc {
  readonly port: number
  readonly #program: Program

  constructor(port: number, env: Record<string, string>) {
    this.port = port
    this.#program = new Program('perl', [new URL('smsc.pl', import.meta.url).pathname], { PORT: String(port), ...env })
  }

  static async start(env: Record<string, string> = {}): Promise<PerlSmsc> {
    const smsc = new PerlSmsc(await freePort(), env)
    await vi.waitFor(() => expect(smsc.events('listening')).toHaveLength(1), SOON)
    return smsc
  }

  /** Lines of one kind, as written so far. */
  events(kind: string): Record<string, unknown>[] {
    const lines = this.#program.lines
      .filter((line) => line.startsWith('{'))
      .map((line) => JSON.parse(line) as Record<string, unknown>)
    return lines.filter((line) => line.event === kind)
  }

  taken(): PerlTaken[] {
    return this.events('took').map((line) => ({ ...line, to: `+${String(line.to)}` }) as PerlTaken)
  }

  /** Asks something of the newest connection of this system id: see `controlled` in smsc.pl. */
  async ask(system: string, asked: object): Promise<void> {
    const bind = this.events('bind').findLast((each) => each.system === system && each.ok === 1)
    const socket = createSocket('udp4')
    await new Promise((sent) => socket.send(JSON.stringify(asked), Number(bind!.control), '127.0.0.1', sent))
    socket.close()
  }

  stop(): Promise<void> {
    return this.#program.stop()
  }
}

/** The number whose messages are orders to send a reply. */
export const ORDERS = '+16135550176'

export interface Order {
  from: string
  dc: number
  esm?: number
  ton?: number
  hex: string
  payload?: 1
  sar?: string
}

/** The text of an order. */
export function orderText(order: Order): string {
  return Object.entries(order)
    .map(([name, value]) => `${name}=${value}`)
    .join(';')
}
