import { execFileSync } from 'node:child_process'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout } from 'node:timers/promises'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { Program } from './programs.ts'

/** Writes down what passes on the loopback with tshark, whose own dissector finds the SIP in them. Needs root. */
export class SipTap {
  readonly #folder: string
  readonly #capture: Program
  /** What a port is for, where its number says something else. */
  readonly #known: string[]

  private constructor(folder: string, capture: Program, known: string[]) {
    this.#folder = folder
    this.#known = known
    this.#capture = capture
  }

  /** With room (MiB) for what comes while the machine is busy: what the kernel cannot keep is lost to it. */
  static async start(what = 'udp', sipPort?: number): Promise<SipTap> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-sip-tap-'))
    const capture = new Program('tshark', ['-i', 'lo', '-f', what, '-B', '64', '-w', join(folder, 'wire.pcap'), '-q'])
    await vi.waitUntil(() => capture.lines.some((line) => /Capturing/.test(line)), SOON)
    return new SipTap(folder, capture, sipPort ? ['-d', `tcp.port==${sipPort},sip`] : [])
  }

  /** Everything is written down from here on. What has passed is handed over at intervals, so that it is waited for. */
  async stop(): Promise<void> {
    await setTimeout(1_000)
    await this.#capture.stop()
  }

  close(): Promise<void> {
    return rm(this.#folder, { recursive: true })
  }

  /** Requests for a call by this caller, in order. */
  invites(caller: string): { target: string; to: string; port: number }[] {
    const filter = `sip.Method == "INVITE" && sip.Request-Line && sip.from.user == "${caller}"`
    return this.#rows(filter, 'sip.r-uri', 'sip.to.addr', 'udp.dstport').map(([target, to, port]) => ({
      target: target!,
      to: to!,
      port: Number(port),
    }))
  }

  /** Methods of the requests to a port, in order. */
  requestsTo(port: number): string[] {
    return this.#rows(`sip.Request-Line && udp.dstport == ${port}`, 'sip.Method').map(([method]) => method!)
  }

  /** How many frames a filter of Wireshark's finds. */
  count(filter: string): number {
    return this.#rows(filter, 'frame.number').length
  }

  /** Whom requests for a call over connections to a port are for, in order. */
  invitedOver(port: number): string[] {
    const filter = `sip.Method == "INVITE" && tcp.dstport == ${port}`
    const rows = this.#rows(filter, 'sip.r-uri', 'sip.to.addr')
    return rows.flat().map((uri) => uri.replace(/:\d+$/, ''))
  }

  #rows(filter: string, ...fields: string[]): string[][] {
    const asked = fields.flatMap((field) => ['-e', field])
    const how = [...this.#known, '-Y', filter, '-T', 'fields', '-E', 'separator=|', ...asked]
    const options = { maxBuffer: 1e8, stdio: ['ignore', 'pipe', 'ignore'] as ('ignore' | 'pipe')[] }
    const table = execFileSync('tshark', ['-r', join(this.#folder, 'wire.pcap'), ...how], options).toString()
    return table
      .split('\n')
      .filter((line) => line !== '')
      .map((line) => line.split('|'))
  }
}
