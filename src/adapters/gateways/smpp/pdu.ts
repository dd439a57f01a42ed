import smpp from 'smpp'

// The codec of npm smpp is used for the layout of PDUs only. Its sessions are not: a bad PDU wedges them, an answer
// that never comes is waited for for ever, and on a lost connection nobody is told about the requests in flight.

export type Fields = Record<string, unknown>

/** A PDU whose texts stay bytes: the library reads IA5 as GSM 03.38 and writes what it cannot encode as `@`. */
export class Pdu extends smpp.PDU {
  override _filter(): void {}
}

export const STATUS = { ok: 0, badLength: 0x02, unknownCommand: 0x03, tryAgain: 0x64 } as const

export interface Header {
  id: number
  status: number
  sequence: number
}

const HEADER_OCTETS = 16
/** A `message_payload` may hold 64 KiB (SMPP 3.4 §5.3.2.32); more than this is no PDU but a stream out of step. */
const MAX_OCTETS = 70_000

export function headerOf(frame: Buffer): Header {
  return { id: frame.readUInt32BE(4), status: frame.readUInt32BE(8), sequence: frame.readUInt32BE(12) }
}

export function isResponse({ id }: Header): boolean {
  return id >= 0x80000000
}

/** Cuts a stream of octets into PDUs. */
export class Framer {
  #rest: Buffer = Buffer.alloc(0)

  /**
   * Hands over the PDUs that are whole now that `chunk` has come.
   *
   * @throws RangeError when a length cannot be one: nothing after it can be read, the connection is to be given up.
   */
  cut(chunk: Buffer, take: (frame: Buffer) => void): void {
    let rest = this.#rest.length === 0 ? chunk : Buffer.concat([this.#rest, chunk])
    while (rest.length >= 4) {
      const length = rest.readUInt32BE(0)
      if (length < HEADER_OCTETS || length > MAX_OCTETS) throw new RangeError('no PDU has this length')
      if (rest.length < length) break
      take(rest.subarray(0, length))
      rest = rest.subarray(length)
    }
    this.#rest = rest
  }
}

/** The octets of a request or response. */
export function encodePdu(command: string, sequence: number, fields: Fields = {}, status = 0): Buffer {
  return new Pdu(command, { ...fields, sequence_number: sequence, command_status: status }).toBuffer()
}

/** A PDU from its octets; undefined when a field runs over its end. */
export function decodePdu(frame: Buffer): Pdu | undefined {
  try {
    return new Pdu(frame)
  } catch {
    return undefined
  }
}
