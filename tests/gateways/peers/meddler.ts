import dgram from 'node:dgram'
import { once } from 'node:events'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import type { Phone } from './sipp.ts'

/** What WATCHED_INVITE notes of a call. */
interface Known {
  /** Of the engine itself, whatever else the request came through. */
  via: string
  from: string
  to: string
  contact: string
  callId: string
  cseq: string
}

const CRLF = '\r\n'

/** Somebody on the same machine who knows all about a call, and writes to the engine itself. */
export class Meddler {
  readonly #known: Known
  readonly #elsewhere: string
  readonly #socket = dgram.createSocket('udp4')
  readonly answers: string[] = []

  private constructor(known: Known, elsewhere: string) {
    this.#known = known
    this.#elsewhere = elsewhere
    this.#socket.on('message', (octets) => this.answers.push(octets.toString('latin1').split(CRLF)[0]!))
  }

  /** @param phone whose steps begin with WATCHED_INVITE */
  static async on(phone: Phone, elsewhere: string): Promise<Meddler> {
    const noted = await vi.waitFor(async () => {
      const line = (await phone.notes()).find((each) => each.startsWith('known|'))
      if (line === undefined) throw new Error(`no call yet: ${phone.lines.join(' ')}`)
      return line.split('|').map((value) => value.trim())
    }, SOON)
    const [, first, second, from, to, contact, callId, cseq] = noted as [string, ...string[]]
    const meddler = new Meddler(
      { via: second || first!, from: from!, to: to!, contact: contact!, callId: callId!, cseq: cseq! },
      elsewhere,
    )
    meddler.#socket.bind(0, '127.0.0.1')
    await once(meddler.#socket, 'listening')
    return meddler
  }

  /** An answer to the engine's request that it never came to: the call has moved. */
  redirect(): Promise<void> {
    const { via, from, to, callId, cseq } = this.#known
    const headers = [`Via: ${via}`, `From: ${from}`, `To: ${to};tag=meddler`, `Call-ID: ${callId}`, `CSeq: ${cseq}`]
    return this.#send(['SIP/2.0 302 Moved Temporarily', ...headers, `Contact: <sip:${this.#elsewhere}>`])
  }

  /** A transfer that belongs to no call (RFC 3515). */
  transfer(): Promise<void> {
    return this.#request('REFER', [`Refer-To: <sip:${this.#elsewhere}>`])
  }

  /** A call of the other number in the place of this one (RFC 3891). */
  replace(): Promise<void> {
    const { from, callId } = this.#known
    const tag = /tag=([^;]+)/.exec(from)?.[1]
    return this.#request('INVITE', [`Replaces: ${callId};to-tag=${tag};from-tag=1phone1`, 'Require: replaces'])
  }

  async close(): Promise<void> {
    await new Promise<void>((done) => this.#socket.close(done))
  }

  #request(method: string, more: string[]): Promise<void> {
    const { contact } = this.#known
    const target = /<(sip:[^>]+)>/.exec(contact)![1]!
    const { port } = this.#socket.address()
    const headers = [
      `Via: SIP/2.0/UDP 127.0.0.1:${port};rport;branch=z9hG4bKmeddler${method}`,
      'Max-Forwards: 70',
      `From: <sip:${this.#elsewhere}>;tag=meddler`,
      `To: <${target}>`,
      `Call-ID: meddler-${method}`,
      `CSeq: 1 ${method}`,
      `Contact: <sip:${this.#elsewhere}>`,
    ]
    return this.#send([`${method} ${target} SIP/2.0`, ...headers, ...more])
  }

  async #send(lines: string[]): Promise<void> {
    const [, host, port] = /UDP ([\d.]+):(\d+)/.exec(this.#known.via)!
    const octets = [...lines, 'Content-Length: 0', '', ''].join(CRLF)
    await new Promise<void>((done, fail) =>
      this.#socket.send(octets, Number(port), host, (error) => (error ? fail(error) : done())),
    )
  }
}
