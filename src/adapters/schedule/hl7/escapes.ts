import { decodeStrictly } from '../decode.ts'

/** What MSH-1 and MSH-2 say; truncation since 2.7, empty where there is none. */
export interface Delimiters {
  field: string
  component: string
  repetition: string
  escape: string
  subcomponent: string
  truncation: string
}

/** Formatting commands (ch. 2.7.6) that begin a new line; the others only say how it looks. */
const NEW_LINE = /^\.(br|sp\d*|ce)$/
const LOOKS = /^(\.(fi|nf|in[+-]?\d*|ti[+-]?\d*|sk\d*)|H|N)$/
const HEX = /^X([0-9A-Fa-f]+)$/

/**
 * A leaf's text with its escape sequences (ch. 2.7) resolved. What is no sequence stays as it is written: a lone escape
 * character is a slip of the sender and no reason to lose letters.
 */
export function unescape(leaf: string, marks: Delimiters, charset: string): string {
  const { escape } = marks
  if (escape === '' || !leaf.includes(escape)) return leaf
  let text = ''
  let bytes: Buffer[] = []
  const flush = () => {
    text += asText(bytes, charset)
    bytes = []
  }
  for (let at = 0; at < leaf.length;) {
    const end = leaf[at] === escape ? leaf.indexOf(escape, at + 1) : -1
    const sequence = end < 0 ? null : leaf.slice(at + 1, end)
    const hex = sequence === null ? null : hexOf(sequence)
    const plain = sequence === null || hex ? null : meaning(sequence, marks)
    // A letter's bytes may be spread over sequences that follow each other.
    if (hex) bytes.push(Buffer.from(hex, 'hex'))
    else flush()
    if (!hex) text += plain ?? leaf[at]!
    at = hex || plain !== null ? end + 1 : at + 1
  }
  flush()
  return text
}

/** Two digits for each byte; null where it is no such sequence. */
function hexOf(sequence: string): string | null {
  const digits = HEX.exec(sequence)?.[1] ?? ''
  return digits !== '' && digits.length % 2 === 0 ? digits : null
}

function meaning(sequence: string, marks: Delimiters): string | null {
  switch (sequence) {
    case 'F':
      return marks.field
    case 'S':
      return marks.component
    case 'T':
      return marks.subcomponent
    case 'R':
      return marks.repetition
    case 'E':
      return marks.escape
    case 'P':
      return marks.truncation === '' ? null : marks.truncation
    default:
      if (NEW_LINE.test(sequence)) return '\n'
      return LOOKS.test(sequence) ? '' : null
  }
}

/** In the message's charset; bytes that are not in it are taken as Latin-1, which has a letter for each. */
function asText(parts: readonly Buffer[], charset: string): string {
  if (parts.length === 0) return ''
  const bytes = Buffer.concat(parts)
  return decodeStrictly(charset, bytes) ?? bytes.toString('latin1')
}
