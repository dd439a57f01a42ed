import { once } from 'node:events'
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import net from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { freePort, present, Program } from './programs.ts'

export const kannelPresent = () => present('which', ['bearerbox', 'smsbox'])

const EXAMPLES = new URL('../../../infra/gateways/kannel/', import.meta.url)

/** Debian's Kannel, started from the example configuration with ports, folders and secrets of its own. */
export class Kannel {
  readonly #programs: Program[] = []
  readonly #folder: string
  readonly sendPort: number
  readonly centrePort: number

  private constructor(folder: string, sendPort: number, centrePort: number) {
    this.#folder = folder
    this.sendPort = sendPort
    this.centrePort = centrePort
  }

  /**
   * @param hooks where the service listens for receipts and replies.
   * @param centre the `smsc` group to use instead of the pretended message centre.
   */
  static async start(hooks: string, centre?: string): Promise<Kannel> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-kannel-'))
    const [admin, box, send, fake] = [await freePort(), await freePort(), await freePort(), await freePort()]
    const kannel = new Kannel(folder, send, fake)
    const example = await readFile(new URL('kannel.conf', EXAMPLES), 'utf8')
    const changed = example
      .replace(/= 13000/g, `= ${admin}`)
      .replace(/= 13001/g, `= ${box}`)
      .replace(/= 13013/g, `= ${send}`)
      .replace(/= 10000/g, `= ${fake}`)
      .replace('http://127.0.0.1:8080/gateways/kannel', hooks)
      .replace(/\/var\/(log|spool)\/kannel/g, folder)
      .replace(/CHANGE-ME-\w+(-KEY)?/g, 'secret')
      .replace('sms-resend-freq = 60', 'sms-resend-freq = 1')
      .replace('http-queue-delay = 30', 'http-queue-delay = 1')
    await writeFile(
      join(folder, 'kannel.conf'),
      centre === undefined ? changed : changed.replace(/group = smsc\n(.+\n)+/, centre),
    )
    await kannel.#begin('bearerbox', box)
    await kannel.#begin('smsbox', send)
    return kannel
  }

  async stop(): Promise<void> {
    for (const program of this.#programs.splice(0).reverse()) await program.stop()
    await rm(this.#folder, { recursive: true, force: true })
  }

  async #begin(program: string, port: number): Promise<void> {
    this.#programs.push(new Program(program, [join(this.#folder, 'kannel.conf')]))
    await vi.waitFor(() => reach(port), SOON)
  }
}

/** The description of the gateway, as in the example. */
export async function kannelDescription(sendPort: number): Promise<string> {
  return (await readFile(new URL('kannel.yaml', EXAMPLES), 'utf8')).replace('13013', String(sendPort))
}

async function reach(port: number): Promise<void> {
  const socket = net.connect(port, '127.0.0.1')
  await once(socket, 'connect')
  socket.destroy()
}

interface Got {
  to: string
  octets: Buffer
  part?: [reference: number, total: number, number: number]
  text?: string
}

/** A handset on the pretended message centre: Kannel's own line protocol, one text a line. */
export class FakeHandset {
  readonly got: Got[] = []
  readonly #socket: net.Socket
  #rest = ''

  private constructor(socket: net.Socket) {
    this.#socket = socket
    socket.on('data', (chunk) => this.#read(chunk.toString('utf8')))
  }

  static async on(port: number): Promise<FakeHandset> {
    const socket = net.connect(port, '127.0.0.1')
    await once(socket, 'connect')
    return new FakeHandset(socket)
  }

  /** Sends a text, as UCS-2 where ASCII cannot say it. */
  say(from: string, text: string): void {
    const ascii = /^[\x20-\x7e]*$/.test(text)
    const coded = ascii ? `text ${text}` : `ucs2 ${percent(Buffer.from(text, 'utf16le').swap16())}`
    this.#socket.write(`${from} 80001 ${coded}\n`)
  }

  /** Whole texts to a number. Kannel cuts characters in two, so octets are joined before they are read. */
  textsTo(number: string): string[] {
    const texts: string[] = []
    const open = new Map<number, Buffer[]>()
    for (const { octets, part, text } of this.got.filter((one) => one.to === number)) {
      if (part === undefined) {
        texts.push(text ?? readOctets(octets))
        continue
      }
      const [reference, total, nth] = part
      const parts = open.get(reference) ?? []
      parts[nth - 1] = octets
      open.set(reference, parts)
      if (Object.keys(parts).length === total) texts.push(readOctets(Buffer.concat(parts)))
    }
    return texts
  }

  close(): void {
    this.#socket.destroy()
  }

  #read(chunk: string): void {
    const lines = (this.#rest + chunk).split('\n')
    this.#rest = lines.pop()!
    for (const line of lines) this.#take(line)
  }

  #take(line: string): void {
    const [, , to = '', kind = '', ...rest] = ['', ...line.split(' ')]
    const number = `+${to}`
    if (kind === 'text') this.got.push({ to: number, octets: Buffer.alloc(0), text: rest.join(' ') })
    else if (kind === 'udh')
      this.got.push({ to: number, octets: unpercent(rest[2] ?? ''), part: partOf(unpercent(rest[0]!)) })
    else this.got.push({ to: number, octets: unpercent(rest[0] ?? '') })
  }
}

function partOf(header: Buffer): [number, number, number] {
  return [header[3]!, header[4]!, header[5]!]
}

function readOctets(octets: Buffer): string {
  const ucs2 = octets.some((octet) => octet < 0x0a)
  return new TextDecoder(ucs2 ? 'utf-16be' : 'utf-8').decode(octets)
}

function percent(octets: Buffer): string {
  return [...octets].map((octet) => `%${octet.toString(16).padStart(2, '0').toUpperCase()}`).join('')
}

function unpercent(text: string): Buffer {
  const bytes = [...text.matchAll(/%([0-9A-F]{2})|(.)/gis)].map(([, hex, sign]) =>
    hex ? parseInt(hex, 16) : sign === '+' ? 0x20 : sign!.charCodeAt(0),
  )
  return Buffer.from(bytes)
}
