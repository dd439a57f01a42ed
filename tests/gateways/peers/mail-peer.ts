import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { TEST_CERTIFICATE, TEST_KEY } from '../certificate.ts'
import { FATES } from '../fates.ts'
import { present, Program } from './programs.ts'

/** Debian's own, whatever else is called so. */
export const PYTHON = '/usr/bin/python3'

/** aiosmtpd 1.4, as in Debian's python3-aiosmtpd. */
export const mailPeerPresent = () => present(PYTHON, ['-c', 'import aiosmtpd.smtp'])

/** A letter as the peer took it, read by Python's email package. */
export interface TakenLetter {
  sender: string
  to: string[]
  secure: boolean
  text: string
  type: string
  headers: [name: string, value: string][]
  wire: string
}

/** What the peer does with a letter of each fate: see mail.py. */
const PLANS: Partial<Record<string, string>> = {
  [FATES.reject]: 'rcpt-550',
  [FATES.later]: 'rcpt-451',
  [FATES.slow]: 'content-slow',
  [FATES.drop]: 'content-drop',
  [FATES.silent]: 'content-silent',
}

/** The address that has the fate of a number. */
export const addressOf = (number: string) => `${PLANS[number] ?? number.slice(1)}@patients.example`

/** The mail server of mail.py, running. */
export class MailPeer {
  readonly port: number
  /** Authority of its certificate, which is for 127.0.0.1. */
  readonly caFile: string
  readonly #home = mkdtempSync(join(tmpdir(), 'daysix-mail-'))
  readonly #program: Program

  constructor(port: number, env: Record<string, string>) {
    this.port = port
    this.caFile = join(this.#home, 'cert.pem')
    const key = join(this.#home, 'key.pem')
    writeFileSync(this.caFile, TEST_CERTIFICATE)
    writeFileSync(key, TEST_KEY)
    const script = new URL('mail.py', import.meta.url).pathname
    this.#program = new Program(PYTHON, [script], { PORT: String(port), CERT: this.caFile, KEY: key, ...env })
  }

  static async start(port: number, env: Record<string, string> = {}): Promise<MailPeer> {
    const peer = new MailPeer(port, env)
    await vi.waitFor(() => expect(peer.events('listening'), peer.#program.lines.join('\n')).toHaveLength(1), SOON)
    return peer
  }

  /** Lines of one kind, as written so far. */
  events(kind: string): Record<string, unknown>[] {
    const lines = this.#program.lines.filter((line) => line.startsWith('{'))
    return lines.map((line) => JSON.parse(line) as Record<string, unknown>).filter(({ event }) => event === kind)
  }

  taken(): TakenLetter[] {
    return this.events('took') as unknown as TakenLetter[]
  }

  async stop(): Promise<void> {
    await this.#program.stop()
    rmSync(this.#home, { recursive: true })
  }
}
