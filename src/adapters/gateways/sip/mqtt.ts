/** As much of MQTT 3.1.1 (OASIS, 2014) as the engine's own control module speaks: one client, nothing acknowledged. */

export const CONNECT = 1
export const PUBLISH = 3
export const SUBSCRIBE = 8
export const PINGREQ = 12

export const ACCEPTED = Buffer.from([0x20, 2, 0, 0])
export const REFUSED = Buffer.from([0x20, 2, 0, 4])
export const PONG = Buffer.from([0xd0, 0])

export interface Packet {
  type: number
  flags: number
  body: Buffer
}

const MOST_BYTES = 1_000_000

/** Cuts a stream into packets (§2.2). */
export class Packets {
  #rest: Buffer = Buffer.alloc(0)

  /** @throws when the stream is no sequence of packets. */
  take(octets: Buffer): Packet[] {
    this.#rest = Buffer.concat([this.#rest, octets])
    const found: Packet[] = []
    for (let next = this.#next(); next; next = this.#next()) found.push(next)
    return found
  }

  #next(): Packet | undefined {
    let [length, at] = [0, 1]
    for (let octet = 0x80; octet >= 0x80; at++) {
      if (at > 4) throw new Error('no MQTT')
      if (this.#rest.length <= at) return undefined
      octet = this.#rest[at]!
      length += (octet & 0x7f) << (7 * (at - 1))
    }
    if (length > MOST_BYTES) throw new Error('too long')
    if (this.#rest.length < at + length) return undefined
    const [first, body] = [this.#rest[0]!, this.#rest.subarray(at, at + length)]
    this.#rest = this.#rest.subarray(at + length)
    return { type: first >> 4, flags: first & 0x0f, body }
  }
}

/** The password of a CONNECT (§3.1), which comes last in it; undefined where it has none. */
export function passwordIn(body: Buffer): string | undefined {
  const name = text(body, 0)
  const flags = body[name.end + 1]
  if (flags === undefined || (flags & 0x40) === 0) return undefined
  // After the flags and two octets of patience: client, will (topic and message), user, password.
  let field = text(body, name.end + 4)
  const between = ((flags & 0x04) === 0 ? 0 : 2) + ((flags & 0x80) === 0 ? 0 : 1)
  for (let n = 0; n < between + 1; n++) field = text(body, field.end)
  return field.words
}

/** What a PUBLISH says (§3.3), without anything to acknowledge. */
export function payloadIn({ body }: Packet): string {
  return body.toString('utf8', text(body, 0).end)
}

/** Grants the one subscription of a SUBSCRIBE (§3.9). */
export function granted({ body }: Packet): Buffer {
  return Buffer.from([0x90, 3, body[0] ?? 0, body[1] ?? 0, 0])
}

export function publish(topic: string, payload: string): Buffer {
  const name = Buffer.from(topic)
  const body = Buffer.concat([Buffer.from([name.length >> 8, name.length & 0xff]), name, Buffer.from(payload)])
  return Buffer.concat([Buffer.from([PUBLISH << 4, ...lengthOf(body.length)]), body])
}

function lengthOf(length: number): number[] {
  return length < 0x80 ? [length] : [0x80 | (length & 0x7f), ...lengthOf(length >> 7)]
}

/** A text with its length before it (§1.5.3). */
function text(body: Buffer, at: number): { words: string; end: number } {
  if (body.length < at + 2) throw new Error('cut short')
  const end = at + 2 + body.readUInt16BE(at)
  if (body.length < end) throw new Error('cut short')
  return { words: body.toString('utf8', at + 2, end), end }
}
