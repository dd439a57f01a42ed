import { execFileSync } from 'node:child_process'
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { Program } from './programs.ts'

/** What Wireshark counted of one stream of sound. */
export interface Stream {
  packets: number
  lost: number
}

/** Listens on the loopback with tshark, which counts and decodes the sound of calls. Needs root. */
export class Listener {
  readonly #folder: string
  readonly #capture: Program

  private constructor(folder: string, capture: Program) {
    this.#folder = folder
    this.#capture = capture
  }

  static async start(ports: readonly number[]): Promise<Listener> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-listen-'))
    const filter = ports.map((port) => `udp port ${port}`).join(' or ')
    const capture = new Program('tshark', ['-i', 'lo', '-f', filter, '-w', join(folder, 'calls.pcap'), '-q'])
    await vi.waitUntil(() => capture.lines.some((line) => /Capturing/.test(line)), SOON)
    return new Listener(folder, capture)
  }

  /** Everything is written down from here on. */
  async stop(): Promise<void> {
    await this.#capture.stop()
  }

  close(): Promise<void> {
    return rm(this.#folder, { recursive: true })
  }

  /** The streams to a port, by Wireshark's own analysis of RTP. */
  streamsTo(port: number): Stream[] {
    const table = this.#tshark(['-q', '-d', `udp.port==${port},rtp`, '-z', 'rtp,streams'])
    const rows = table.split('\n').map((line) => line.trim().split(/\s+/))
    const at = rows.flatMap((cells) => {
      const to = cells.findIndex((cell, index) => index > 3 && cell === String(port))
      const ssrc = cells.findIndex((cell) => /^0x[0-9A-F]{8}$/i.test(cell))
      return to === ssrc - 1 && ssrc > 0 ? [cells] : []
    })
    return at.map((cells) => {
      const lost = cells.findIndex((cell) => cell.startsWith('('))
      return { packets: Number(cells[lost - 2]), lost: Number(cells[lost - 1]) }
    })
  }

  /** What was sent to a port as sound, decoded from µ-law by sox. */
  async soundTo(port: number): Promise<Int16Array> {
    const rows = this.#tshark([
      '-d',
      `udp.port==${port},rtp`,
      '-Y',
      `udp.dstport==${port} && rtp.p_type==0`,
      '-T',
      'fields',
      '-e',
      'rtp.payload',
    ])
    const [coded, plain] = [join(this.#folder, `${port}.ul`), join(this.#folder, `${port}.raw`)]
    await writeFile(coded, Buffer.from(rows.replace(/[\s:]/g, ''), 'hex'))
    execFileSync('sox', [
      '-t',
      'ul',
      '-r',
      '8000',
      '-c',
      '1',
      coded,
      '-t',
      'raw',
      '-e',
      'signed-integer',
      '-b',
      '16',
      plain,
    ])
    return samplesOf(await readFile(plain))
  }

  #tshark(args: string[]): string {
    return execFileSync('tshark', ['-r', join(this.#folder, 'calls.pcap'), ...args], {
      maxBuffer: 1e8,
      stdio: ['ignore', 'pipe', 'ignore'],
    }).toString()
  }
}

export function samplesOf(octets: Buffer): Int16Array {
  return new Int16Array(Uint8Array.from(octets).buffer, 0, Math.floor(octets.length / 2))
}

const PIECE = 1600

/**
 * How surely a piece of speech occurs in a recording: the highest normalised cross-correlation of its loudest fifth of
 * a second, 1 = the very same.
 */
export function likeness(recording: Int16Array, speech: Int16Array): number {
  const start = loudest(speech)
  const piece = speech.subarray(start, start + PIECE)
  const norm = Math.sqrt(energy(piece, 0))
  let best = 0
  for (let at = 0; at + PIECE <= recording.length; at++) {
    let sum = 0
    for (let n = 0; n < PIECE; n += 4) sum += recording[at + n]! * piece[n]!
    if (sum * 4 <= best * norm * 1000) continue
    let whole = 0
    for (let n = 0; n < PIECE; n++) whole += recording[at + n]! * piece[n]!
    best = Math.max(best, whole / (norm * Math.sqrt(energy(recording, at)) || 1))
  }
  return best
}

function energy(sound: Int16Array, from: number): number {
  let sum = 0
  for (let n = from; n < from + PIECE; n++) sum += sound[n]! ** 2
  return sum
}

function loudest(sound: Int16Array): number {
  let [best, found] = [0, 0]
  for (let at = 0; at + PIECE <= sound.length; at += PIECE / 4) {
    const loud = energy(sound, at)
    if (loud > best) [best, found] = [loud, at]
  }
  return found
}
