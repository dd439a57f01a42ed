import type { Ack, Refusal } from '../../../domain/schedule/feed.ts'
import { encode, escape, stamp, trimmed } from './write.ts'
import { segmentOf, text, type Hl7Message } from './parse.ts'
import { typeOf } from './read-siu.ts'

/** What became of a message: accepted, or refused and why. */
export type Outcome = 'AA' | Refusal

/** Of an acknowledgement: its own control ids (two, since in enhanced mode there may be two) and when it was made. */
export interface AckMarks {
  ids: readonly [string, string]
  at: Date
}

/** Enhanced mode: whether the message was kept. */
type Commit = 'CA' | 'CE' | 'CR'
const COMMITS: Readonly<Record<Ack, Commit>> = { AA: 'CA', AE: 'CE', AR: 'CR' }

/**
 * What the sender is answered, in order, ready for a frame. In original mode one acknowledgement. In enhanced mode
 * (MSH-15 or 16 say anything) that of keeping and that of reading, each if it is wanted (table 0155); of a refusal the
 * sender is told once. An acknowledgement is never acknowledged: two systems would never end.
 */
export function acksOf(message: Hl7Message, outcome: Outcome, { ids, at }: AckMarks): Uint8Array[] {
  const msh = message.segments[0]
  if (typeOf(message).type === 'ACK' || segmentOf(message, 'MSA') !== undefined) return []
  const code: Ack = outcome === 'AA' ? 'AA' : outcome.ack
  const [accept, application] = [text(msh, 15), text(msh, 16)]
  const codes: (Ack | Commit)[] = []
  if (accept === '' && application === '') codes.push(code)
  else {
    if (wanted(accept, code)) codes.push(COMMITS[code])
    if (wanted(application, code) && (code === 'AA' || codes.length === 0)) codes.push(code)
  }
  return codes.map((one, index) => encode(ack(message, one, outcome, ids[index]!, at)))
}

/** HL7 table 0155: always, never, on error or rejection, on success. */
function wanted(when: string, code: Ack): boolean {
  return when === 'AL' || (when === 'ER' && code !== 'AA') || (when === 'SU' && code === 'AA')
}

function ack(message: Hl7Message, code: Ack | Commit, outcome: Outcome, id: string, at: Date): string[] {
  const msh = message.segments[0]
  const { event } = typeOf(message)
  const version = /^2(\.\d{1,2}){1,2}$/.test(text(msh, 12)) ? text(msh, 12) : '2.5.1'
  const old = /^2\.[1-4]/.test(version)
  const refusal = outcome === 'AA' ? null : outcome
  const msa = ['MSA', code, escape(text(msh, 10)), old && refusal ? escape(refusal.why) : '']
  return [
    [
      'MSH',
      '^~\\&',
      ...[5, 6, 3, 4].map((field) => party(message, field)),
      stamp(at),
      '',
      event === '' ? 'ACK' : `ACK^${escape(event)}^ACK`,
      escape(id),
      escape(text(msh, 11)) || 'P',
      version,
    ].join('|'),
    trimmed(msa.join('|')),
    ...(refusal ? [old ? oldError(refusal) : newError(refusal)] : []),
  ]
}

/** Since 2.5: where, code of table 0357, severity (error), and words for a person. */
function newError({ at, code, why }: Refusal): string {
  return ['ERR', '', at, `${code}^${TEXTS[code] ?? ''}^HL70357`, 'E', '', '', '', escape(why)].join('|')
}

/** Until 2.4: ELD, in one field. */
function oldError({ at, code }: Refusal): string {
  const [segment = '', sequence = '', field = ''] = at.split('^')
  return `ERR|${segment}^${sequence}^${field}^${code}&${TEXTS[code] ?? ''}&HL70357`
}

/** HL7 table 0357. */
const TEXTS: Readonly<Record<number, string>> = {
  100: 'Segment sequence error',
  101: 'Required field missing',
  102: 'Data type error',
  103: 'Table value not found',
  198: 'Non-Conformant Cardinality',
  199: 'Other HL7 Error',
  200: 'Unsupported message type',
  201: 'Unsupported event code',
  202: 'Unsupported processing id',
  203: 'Unsupported version id',
  207: 'Application internal error',
}

/** Their HD in our delimiters. */
function party(message: Hl7Message, field: number): string {
  const parts = message.segments[0]?.fields[field]?.[0] ?? []
  return parts.map((part) => part.map(escape).join('&')).join('^')
}
