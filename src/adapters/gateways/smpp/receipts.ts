import type { Receipt } from '../../../flows/ports/gateway.ts'
import { safeCode } from '../safe-code.ts'
import type { SmppConfig } from './smpp-config.ts'

type IdFormat = SmppConfig['ids']['accept']

/** What a delivery receipt says: whose, and whether it is final. */
export interface ReceiptFacts {
  ref: string
  state: Receipt['state'] | 'pending'
  code?: string
}

const STATES: Record<string, Receipt['state']> = {
  DELIVRD: 'delivered',
  EXPIRED: 'undelivered',
  DELETED: 'undelivered',
  UNDELIV: 'undelivered',
  REJECTD: 'undelivered',
}
/** message_state, SMPP 3.4 §5.2.28. */
const STATE_NUMBERS: Record<number, Receipt['state']> = {
  2: 'delivered',
  3: 'undelivered',
  4: 'undelivered',
  5: 'undelivered',
  8: 'undelivered',
}

/** One spelling for a message id, so that `0A1B`, `a1b` and `2587` find each other where the peer mixes bases. */
export function canonicalId(id: string, format: IdFormat): string {
  const bare = id.replace(/\0.*$/s, '').trim()
  if (format === 'hex' && /^[0-9a-f]+$/i.test(bare)) return BigInt(`0x${bare}`).toString()
  if (format === 'decimal' && /^\d+$/.test(bare)) return BigInt(bare).toString()
  return bare
}

/**
 * Reads a receipt: the optional parameters where the peer sends them, else the text of SMPP 3.4 appendix B
 * (`id:… sub:… dlvrd:… submit date:… done date:… stat:… err:… text:…`). Its dates carry no zone and are left alone.
 */
export function readReceipt(
  pdu: Record<string, unknown>,
  text: string,
  ids: SmppConfig['ids'],
): ReceiptFacts | undefined {
  const ref = refOf(pdu.receipted_message_id, text, ids)
  if (ref === undefined || ref === '') return undefined
  const number = typeof pdu.message_state === 'number' ? pdu.message_state : undefined
  const state = number === undefined ? STATES[word(text, 'stat')?.toUpperCase() ?? ''] : STATE_NUMBERS[number]
  const code = safeCode(word(text, 'err')) ?? networkCode(pdu.network_error_code)
  return { ref, state: state ?? 'pending', ...(code !== undefined && { code }) }
}

function refOf(tlv: unknown, text: string, ids: SmppConfig['ids']): string | undefined {
  if (typeof tlv === 'string' && tlv !== '') return canonicalId(tlv, ids.receiptTlv ?? ids.accept)
  const id = word(text, 'id')
  return id === undefined ? undefined : canonicalId(id, ids.receipt)
}

function word(text: string, name: string): string | undefined {
  return new RegExp(`(?:^|\\s)${name}:\\s*(\\S+)`, 'i').exec(text)?.[1]
}

/** One octet for the kind of network, two for its error. */
function networkCode(value: unknown): string | undefined {
  return Buffer.isBuffer(value) && value.length === 3 ? `net-${value[0]}-${value.readUInt16BE(1)}` : undefined
}
