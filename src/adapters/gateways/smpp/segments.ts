import { splitSms } from '../../../domain/messages/texts/sms.ts'
import { encodeGsm7, encodeLatin1, encodeUcs2 } from './alphabets.ts'
import type { Fields } from './pdu.ts'
import type { SmppConfig } from './smpp-config.ts'

const UDH_INDICATOR = 0x40
const DATA_CODING = { default: 0, ucs2: 8 }
const GSM_ALONE = 160
const UCS2_ROOM = { alone: 70, joined: 67 }

interface Encoded {
  dataCoding: number
  segments: Buffer[]
}

/**
 * The fields of each submit_sm that a text takes. What was counted is what is sent: segments are cut here, never by the
 * peer, except in `payload` mode, where the peer is asked to.
 *
 * @param reference 0-255, the same for all segments of one text and different from those of the last few texts.
 */
export function segmentsOf(text: string, config: Pick<SmppConfig, 'alphabet' | 'long'>, reference: number): Fields[] {
  const { dataCoding, segments } = encode(text, config.alphabet)
  const coding = { data_coding: dataCoding }
  if (segments.length === 1) return [{ ...coding, short_message: segments[0] }]
  if (config.long === 'payload')
    return [{ ...coding, short_message: Buffer.alloc(0), message_payload: Buffer.concat(segments) }]
  if (config.long === 'sar')
    return segments.map((segment, n) => ({ ...coding, ...sar(reference, segments.length, n), short_message: segment }))
  return segments.map((segment, n) => {
    const header = Buffer.from([5, 0, 3, reference, segments.length, n + 1]) // TS 23.040 §9.2.3.24.1
    return { ...coding, esm_class: UDH_INDICATOR, short_message: Buffer.concat([header, segment]) }
  })
}

function sar(reference: number, total: number, n: number): Fields {
  return { sar_msg_ref_num: reference, sar_total_segments: total, sar_segment_seqnum: n + 1 }
}

function encode(text: string, alphabet: SmppConfig['alphabet']): Encoded {
  const gsm = encodeGsm7(text)
  const own = alphabet === 'gsm7' ? gsm : gsm && encodeLatin1(text)
  if (own === undefined) return { dataCoding: DATA_CODING.ucs2, segments: splitUcs2(text).map(encodeUcs2) }
  if (gsm!.length <= GSM_ALONE) return { dataCoding: DATA_CODING.default, segments: [own] }
  const encodeOne = alphabet === 'gsm7' ? encodeGsm7 : encodeLatin1
  return { dataCoding: DATA_CODING.default, segments: splitSms(text).map((segment) => encodeOne(segment)!) }
}

/**
 * As `splitSms` would, also for a text that is in GSM-7 but not in the peer's own alphabet; never cuts a surrogate
 * pair.
 */
function splitUcs2(text: string): string[] {
  if (text.length <= UCS2_ROOM.alone) return [text]
  const segments = ['']
  for (const character of text) {
    if (segments.at(-1)!.length + character.length > UCS2_ROOM.joined) segments.push('')
    segments[segments.length - 1] += character
  }
  return segments
}
