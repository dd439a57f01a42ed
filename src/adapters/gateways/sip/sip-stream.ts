const MOST_BYTES = 65_536
const LENGTH = /^(?:content-length|l)[ \t]*:[ \t]*(\d{1,5})[ \t]*$/gim

/** Cuts what comes over a connection into SIP messages, by their Content-Length (RFC 3261 §18.3). */
export class SipStream {
  #rest: Buffer = Buffer.alloc(0)

  /** @throws when nobody could tell where a message ends. */
  take(octets: Buffer): Buffer[] {
    this.#rest = Buffer.concat([this.#rest, octets])
    const found: Buffer[] = []
    for (let next = this.#next(); next; next = this.#next()) found.push(next)
    if (this.#rest.length > MOST_BYTES) throw new Error('too long')
    return found
  }

  #next(): Buffer | undefined {
    // Line ends between messages keep the connection alive (RFC 5626 §3.5.1).
    let start = 0
    while (this.#rest[start] === 0x0d || this.#rest[start] === 0x0a) start++
    this.#rest = this.#rest.subarray(start)
    const head = this.#rest.indexOf('\r\n\r\n')
    if (head < 0) return undefined
    const end = head + 4 + bodyLength(this.#rest.toString('latin1', 0, head))
    if (this.#rest.length < end) return undefined
    const message = this.#rest.subarray(0, end)
    this.#rest = this.#rest.subarray(end)
    return message
  }
}

function bodyLength(head: string): number {
  const lengths = new Set([...head.replace(/\r\n[ \t]+/g, ' ').matchAll(LENGTH)].map(([, length]) => Number(length)))
  if (lengths.size > 1) throw new Error('two lengths')
  return [...lengths][0] ?? 0
}
