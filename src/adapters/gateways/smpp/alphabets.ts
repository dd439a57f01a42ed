/**
 * GSM 7-bit default alphabet and its extension table, 3GPP TS 23.038 §6.2.1, one character an octet as SMPP carries it.
 * Position 0x1B is the escape to the extension table.
 */
const BASIC =
  '@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !"#¤%&\'()*+,-./0123456789:;<=>?' +
  '¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà'
const EXTENDED: Record<number, string> = {
  0x0a: '\f',
  0x14: '^',
  0x28: '{',
  0x29: '}',
  0x2f: '\\',
  0x3c: '[',
  0x3d: '~',
  0x3e: ']',
  0x40: '|',
  0x65: '€',
}
const ESCAPE = 0x1b

const OCTETS = new Map<string, number[]>([
  ...[...BASIC].map((character, octet): [string, number[]] => [character, [octet]]),
  ...Object.entries(EXTENDED).map(([octet, character]): [string, number[]] => [character, [ESCAPE, Number(octet)]]),
])
OCTETS.delete('\x1b')

/** Octets of a text in the GSM alphabet; undefined when it holds a character outside of it. */
export function encodeGsm7(text: string): Buffer | undefined {
  const octets = Buffer.allocUnsafe(text.length * 2)
  let length = 0
  for (const character of text) {
    const codes = OCTETS.get(character)
    if (codes === undefined) return undefined
    for (const code of codes) octets[length++] = code
  }
  return octets.subarray(0, length)
}

/** An escape to a character that is not in the extension table shows the basic one, as TS 23.038 asks of a receiver. */
export function decodeGsm7(octets: Buffer): string {
  let text = ''
  for (let n = 0; n < octets.length; n++) {
    const code = octets[n]! & 0x7f
    if (code !== ESCAPE) text += BASIC[code]
    else if (n + 1 < octets.length) text += EXTENDED[octets[++n]!] ?? BASIC[octets[n]! & 0x7f]!.replace('\x1b', ' ')
  }
  return text
}

export function encodeUcs2(text: string): Buffer {
  return Buffer.from(text, 'utf16le').swap16()
}

export function encodeLatin1(text: string): Buffer | undefined {
  return /^[\n\r\f\x20-\x7e\xa0-\xff]*$/.test(text) ? Buffer.from(text, 'latin1') : undefined
}
