import { decodeStrictly } from '../decode.ts'

/**
 * HL7 table 0211 → label of the WHATWG Encoding Standard. Empty and ASCII are left out on purpose: they are what
 * systems say that never set anything, and their bytes are looked at instead.
 */
const TABLE_0211: Readonly<Record<string, string>> = {
  ...Object.fromEntries([1, 2, 3, 4, 5, 6, 7, 8, 9, 15].map((part) => [`8859/${part}`, `iso-8859-${part}`])),
  'UNICODE UTF-8': 'utf-8',
  'ISO IR87': 'iso-2022-jp',
  'GB 18030-2000': 'gb18030',
  'KS X 1001': 'euc-kr',
  'BIG-5': 'big5',
}
const SAYS_NOTHING: ReadonlySet<string> = new Set(['', 'ASCII', 'ISO IR6', 'UNICODE'])

/** Text, what its bytes were taken for, and what was doubtful about it; null = no charset fits. */
export type Decoded = { text: string; charset: string; doubts: string[] } | null

/**
 * A message's bytes as text. Nothing is ever replaced by U+FFFD: a name that lost a letter is somebody else's.
 * @param told MSH-18 as it was sent, repetitions and all
 * @param fallback the feed's own charset
 */
export function decodeMessage(bytes: Uint8Array, told: readonly string[], fallback: string): Decoded {
  const named = charsetOf(told)
  const tries = named === null ? ['utf-8', fallback] : [named, fallback]
  for (const charset of tries) {
    const text = decodeStrictly(charset, bytes)
    if (text !== null) return { text, charset, doubts: doubts(told, named, charset) }
  }
  return null
}

function doubts(told: readonly string[], named: string | null, charset: string): string[] {
  if (named !== null)
    return named === charset ? [] : ['MSH-18 names a charset that the bytes are not in: the one of the feed was taken.']
  return SAYS_NOTHING.has(told[0] ?? '') ? [] : ['MSH-18 names a charset that nobody here knows.']
}

/** The charset that MSH-18 names; null = none that helps. Japanese feeds leave the first empty and name the second. */
function charsetOf(told: readonly string[]): string | null {
  if (told.includes('ISO IR87')) return 'iso-2022-jp'
  const first = told[0] ?? ''
  if (SAYS_NOTHING.has(first)) return null
  if (Object.hasOwn(TABLE_0211, first)) return TABLE_0211[first]!
  return decodeStrictly(first, new Uint8Array()) === null ? null : first
}
