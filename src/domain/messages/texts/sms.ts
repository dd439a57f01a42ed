/**
 * How a text travels as SMS: GSM-7 or UCS-2, and in how many segments.
 * 3GPP TS 23.038 §6.2.1 (alphabet and its extension table) and TS 23.040 §9.2.3.24.1 (concatenation).
 * The national shift tables of TS 23.038 are left out on purpose: few gateways and handsets honour them.
 */

export type Encoding = 'GSM-7' | 'UCS-2'

export interface SmsMeasure {
  encoding: Encoding
  /** Septets (an extended character is two) or UTF-16 units. */
  units: number
  segments: number
}

// Position 0x09 is the capital Ç that handsets show; the small ç is not in the alphabet.
const BASIC: ReadonlySet<string> = new Set(
  '@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !"#¤%&\'()*+,-./0123456789:;<=>?' +
    '¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà',
)
const EXTENDED: ReadonlySet<string> = new Set('\f^{}\\[~]|€')

const ROOM: Record<Encoding, { alone: number; joined: number }> = {
  'GSM-7': { alone: 160, joined: 153 },
  'UCS-2': { alone: 70, joined: 67 },
}

/** Encoding, length and number of segments of a text. An empty text is one (empty) segment. */
export function measureSms(text: string): SmsMeasure {
  const encoding = encodingOf(text)
  return { encoding, units: unitsOf(text, encoding), segments: splitSms(text).length }
}

/** The segments a text is sent in. An escape and its character, and the halves of a surrogate pair, stay together. */
export function splitSms(text: string): string[] {
  const encoding = encodingOf(text)
  const room = ROOM[encoding]
  if (unitsOf(text, encoding) <= room.alone) return [text]
  const segments: string[] = []
  let segment = ''
  let used = 0
  for (const character of text) {
    const size = unitsOf(character, encoding)
    if (used + size > room.joined) {
      segments.push(segment)
      segment = ''
      used = 0
    }
    segment += character
    used += size
  }
  return [...segments, segment]
}

/** The characters of a text that are not in GSM-7, each once: what makes it dearer. */
export function outsideGsm7(text: string): string[] {
  return [...new Set(text)].filter((character) => !BASIC.has(character) && !EXTENDED.has(character))
}

function encodingOf(text: string): Encoding {
  return outsideGsm7(text).length === 0 ? 'GSM-7' : 'UCS-2'
}

function unitsOf(text: string, encoding: Encoding): number {
  if (encoding === 'UCS-2') return text.length
  return [...text].reduce((units, character) => units + (EXTENDED.has(character) ? 2 : 1), 0)
}

// Only signs whose plain form says the same. Letters with accents are never touched: they change meaning.
const PLAIN: Record<string, string> = {
  '‘': "'",
  '’': "'",
  '‚': "'",
  '‛': "'",
  '′': "'",
  '`': "'",
  '´': "'",
  '“': '"',
  '”': '"',
  '„': '"',
  '‟': '"',
  '″': '"',
  '«': '"',
  '»': '"',
  '‹': "'",
  '›': "'",
  '‐': '-',
  '‑': '-',
  '‒': '-',
  '–': '-',
  '—': '-',
  '―': '-',
  '−': '-',
  '…': '...',
  '•': '-',
  '·': '-',
  '⁄': '/',
  '×': 'x',
  '\t': ' ',
  '\u00a0': ' ',
  '\u2002': ' ',
  '\u2003': ' ',
  '\u2007': ' ',
  '\u2009': ' ',
  '\u202f': ' ',
  '\u00ad': '',
  '\u200b': '',
  '\u2060': '',
  '\ufeff': '',
}

/** Replaces typographic signs (curly quotes, dashes, ellipsis, odd spaces) by their GSM-7 forms. */
export function foldTypography(text: string): string {
  return [...text].map((character) => PLAIN[character] ?? character).join('')
}
