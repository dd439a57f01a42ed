import { asText, damaged, noText, readOctets, type Wording } from '../octets.ts'
import { decodeGsm7 } from './alphabets.ts'
import type { SmppConfig } from './smpp-config.ts'

/** Which piece of a long text this is. */
export interface Part {
  reference: number
  total: number
  number: number
}

/** The octets of a text as they came, with what is needed to read them. */
export interface Piece {
  octets: Buffer
  dataCoding: number
  part?: Part
}

const UDH_INDICATOR = 0x40
const PART_8_BIT = 0x00
const PART_16_BIT = 0x08

/** Takes the text out of a deliver_sm or data_sm: from `message_payload` or `short_message`, without its header. */
export function pieceOf(pdu: Record<string, unknown>): Piece {
  const whole = [pdu.message_payload, pdu.short_message].find(
    (value): value is Buffer => Buffer.isBuffer(value) && value.length > 0,
  )
  const dataCoding = Number(pdu.data_coding ?? 0)
  const octets = whole ?? Buffer.alloc(0)
  if ((Number(pdu.esm_class ?? 0) & UDH_INDICATOR) === 0) return withPart({ octets, dataCoding }, sarPart(pdu))
  const end = Math.min(octets.length, 1 + (octets[0] ?? 0))
  return withPart({ octets: octets.subarray(end), dataCoding }, udhPart(octets.subarray(1, end)))
}

function withPart(piece: Piece, part: Part | undefined): Piece {
  return part !== undefined && part.total > 1 && part.number >= 1 && part.number <= part.total
    ? { ...piece, part }
    : piece
}

/** The concatenation element among those of a user data header, TS 23.040 §9.2.3.24.1 and §9.2.3.24.8. */
function udhPart(elements: Buffer): Part | undefined {
  for (let at = 0; at + 2 <= elements.length; at += 2 + elements[at + 1]!) {
    const [kind, length] = [elements[at], elements[at + 1]!]
    const data = elements.subarray(at + 2, at + 2 + length)
    if (kind === PART_8_BIT && data.length === 3) return { reference: data[0]!, total: data[1]!, number: data[2]! }
    if (kind === PART_16_BIT && data.length === 4)
      return { reference: data.readUInt16BE(0), total: data[2]!, number: data[3]! }
  }
  return undefined
}

function sarPart(pdu: Record<string, unknown>): Part | undefined {
  const { sar_msg_ref_num: reference, sar_total_segments: total, sar_segment_seqnum: number } = pdu
  if (typeof reference !== 'number' || typeof total !== 'number' || typeof number !== 'number') return undefined
  return { reference, total, number }
}

type Alphabets = Pick<SmppConfig, 'alphabet' | 'ia5'>

/**
 * Reads octets by their data_coding (SMPP 3.4 §5.2.19); from 0x10 on it is a GSM data coding scheme (TS 23.038 §4).
 * What is no text (binary) or in an alphabet that is not known here stays octets: a person will see them.
 */
export function readText(octets: Buffer, dataCoding: number, config: Alphabets): Wording {
  const alphabet = alphabetOf(dataCoding, config)
  if (alphabet === undefined) return noText(octets)
  if (alphabet === 'gsm7') return asText(decodeGsm7(octets), octets)
  return alphabet === 'latin1' ? asText(octets.toString('latin1'), octets) : readOctets(octets, alphabet)
}

const ALPHABETS: Record<number, string> = { 3: 'latin1', 6: 'iso-8859-5', 7: 'iso-8859-8', 8: 'ucs-2' }

function alphabetOf(dataCoding: number, config: Alphabets): string | undefined {
  if (dataCoding === 0) return config.alphabet
  if (dataCoding === 1) return config.ia5 === 'gsm7' ? 'gsm7' : 'latin1'
  return dataCoding < 0x10 ? ALPHABETS[dataCoding] : schemeOf(dataCoding)
}

/** TS 23.038 §4: 0x00-0x7F by bits 2 and 3, 0xC0-0xDF GSM, 0xE0-0xEF UCS-2, 0xF0-0xFF by bit 2. */
function schemeOf(scheme: number): string | undefined {
  if (scheme >= 0xf0) return (scheme & 0x04) === 0 ? 'gsm7' : undefined
  if (scheme >= 0xc0) return scheme < 0xe0 ? 'gsm7' : 'ucs-2'
  if (scheme >= 0x80) return undefined
  return ['gsm7', undefined, 'ucs-2', undefined][(scheme >> 2) & 3]
}

/** Reads the pieces of one text. They are joined before they are read, since some senders cut characters in two. */
export function readPieces(pieces: (Piece | undefined)[], config: Alphabets): Wording {
  const codings = new Set(pieces.map((piece) => piece?.dataCoding))
  if (codings.size === 1)
    return readText(Buffer.concat(pieces.map((piece) => piece!.octets)), pieces[0]!.dataCoding, config)
  const read = pieces.map((piece) => piece && readText(piece.octets, piece.dataCoding, config))
  const text = read.map((each) => each?.text ?? ' […] ').join('')
  const isWhole = read.every((each) => each?.octets === undefined)
  return isWhole ? { text } : damaged(text, Buffer.concat(pieces.map((piece) => piece?.octets ?? Buffer.alloc(0))))
}
