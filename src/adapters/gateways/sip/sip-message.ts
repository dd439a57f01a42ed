/** Names of headers in their compact form, RFC 3261 §7.3.3. */
const COMPACT: Record<string, string> = {
  ...{ via: 'v', to: 't', contact: 'm', 'call-id': 'i', 'content-length': 'l', 'content-type': 'c' },
}
/** The first of several values in one header; a comma within quotes or angle brackets parts nothing. */
const FIRST_VALUE = /^(?:"(?:\\.|[^"\\])*"|<[^>]*>|[^,"<])*/

/**
 * One SIP message (RFC 3261 §7), as far as whoever only passes it on must understand it. What it does not know of stays
 * as it came, octet by octet.
 */
export class SipMessage {
  /** Request line or status line. */
  start: string
  readonly #headers: string[]
  #body: Buffer

  private constructor(start: string, headers: string[], body: Buffer) {
    this.start = start
    this.#headers = headers
    this.#body = body
  }

  /** @returns undefined for what is no SIP, such as the octets that keep a way through a firewall open. */
  static read(datagram: Buffer): SipMessage | undefined {
    const end = datagram.indexOf('\r\n\r\n')
    if (end < 0) return undefined
    const unfolded = datagram.toString('latin1', 0, end).replace(/\r\n[ \t]+/g, ' ')
    const [start = '', ...headers] = unfolded.split('\r\n')
    const known = /^(SIP\/2\.0 \d{3} |[A-Z]+ \S+ SIP\/2\.0$)/.test(start)
    return known ? new SipMessage(start, headers, datagram.subarray(end + 4)) : undefined
  }

  /** Undefined for an answer. */
  get method(): string | undefined {
    return /^([A-Z]+) /.exec(this.start)?.[1]
  }

  /** Where a request goes. */
  get target(): string | undefined {
    return this.start.split(' ')[1]
  }

  /** The first value of a header. */
  first(name: string): string | undefined {
    const at = this.#find(name)
    return at < 0 ? undefined : FIRST_VALUE.exec(valueOf(this.#headers[at]!))![0].trim()
  }

  /** Takes the first value away. */
  shift(name: string): string | undefined {
    const at = this.#find(name)
    const value = this.first(name)
    if (value === undefined) return undefined
    const rest = valueOf(this.#headers[at]!).slice(FIRST_VALUE.exec(valueOf(this.#headers[at]!))![0].length + 1)
    this.#headers.splice(at, 1, ...(rest.trim() === '' ? [] : [`${name}: ${rest.trim()}`]))
    return value
  }

  /** Puts a value before all others. */
  unshift(name: string, value: string): void {
    this.#headers.unshift(`${name}: ${value}`)
  }

  /** Puts a value after all others. */
  append(name: string, value: string): void {
    this.#headers.push(`${name}: ${value}`)
  }

  /** Writes the values of one header anew. */
  alter(name: string, change: (values: string) => string): void {
    const at = this.#find(name)
    if (at >= 0) this.#headers[at] = `${name}: ${change(valueOf(this.#headers[at]!).trim())}`
  }

  /** What the message carries; empty where it carries nothing. */
  get body(): string {
    return this.#body.toString('latin1')
  }

  dropBody(): void {
    this.#body = Buffer.alloc(0)
    for (const name of ['Content-Type', 'Content-Length']) this.drop(name)
    this.append('Content-Length', '0')
  }

  /** Takes all of its values away. */
  drop(name: string): void {
    for (let at = this.#find(name); at >= 0; at = this.#find(name)) this.#headers.splice(at, 1)
  }

  /** An answer to this request, RFC 3261 §8.2.6. */
  answer(status: string): Buffer {
    const copied = this.#headers.filter((header) =>
      ['via', 'from', 'call-id', 'cseq'].some((name) => isCalled(header, name)),
    )
    const to = this.first('To') ?? ''
    const tag = status.startsWith('1') || /;\s*tag=/i.test(to) ? '' : ';tag=refused'
    const lines = [`SIP/2.0 ${status}`, ...copied, `To: ${to}${tag}`, 'Content-Length: 0']
    return Buffer.from(`${lines.join('\r\n')}\r\n\r\n`, 'latin1')
  }

  octets(): Buffer {
    return Buffer.concat([Buffer.from(`${[this.start, ...this.#headers].join('\r\n')}\r\n\r\n`, 'latin1'), this.#body])
  }

  #find(name: string): number {
    return this.#headers.findIndex((header) => isCalled(header, name.toLowerCase()))
  }
}

const valueOf = (header: string) => header.slice(header.indexOf(':') + 1)

function isCalled(header: string, name: string): boolean {
  const called = header.slice(0, header.indexOf(':')).trim().toLowerCase()
  return called === name || called === COMPACT[name]
}
