/** What octets say. `octets`, as hex, are there where they could not be read: then a person must see to them. */
export interface Wording {
  /** Empty where nothing could be made out; else as far as it could, with U+FFFD for what could not. */
  text: string
  octets?: string
}

/** Those that mean two octets a sign, big end first unless a byte order mark says otherwise (RFC 2781 4.3). */
const UTF_16 = /^(utf-16|utf16|ucs-2|ucs2|iso-10646-ucs-2)$/
/** Control characters that no telephone writes; tabs and ends of lines are text. */
const CONTROL = /[\0-\x08\x0b\x0e-\x1f\x7f-\x9f]/
const PADDING = /\0+$/

/** Reads octets by the name of a charset. What does not hold by it is kept as it came, beside what can be made out. */
export function readOctets(octets: Buffer, charset: string): Wording {
  const read = decode(octets, charset, true)
  if (read === undefined) return damaged(decode(octets, charset, false) ?? octets.toString('latin1'), octets)
  return asText(read, octets)
}

/** A text that was decoded already; control characters in it say that it was none. */
export function asText(decoded: string, octets: Buffer): Wording {
  const text = decoded.replace(PADDING, '')
  return CONTROL.test(text) ? damaged(text, octets) : { text }
}

export function damaged(text: string, octets: Buffer): Wording {
  return { text, octets: octets.toString('hex') }
}

/** Octets that are no text at all. */
export function noText(octets: Buffer): Wording {
  return damaged('', octets)
}

/**
 * Decodes by the name of a charset (WHATWG Encoding, so that ISO-8859-1 is read as Windows-1252, as is common).
 * @returns undefined for a charset that nobody knows, and with `strict` for octets that do not hold by it
 */
export function decode(octets: Buffer, charset: string, strict: boolean): string | undefined {
  try {
    return new TextDecoder(labelOf(octets, charset), { fatal: strict }).decode(octets)
  } catch {
    return undefined
  }
}

function labelOf(octets: Buffer, charset: string): string {
  const label = charset.toLowerCase()
  if (!UTF_16.test(label)) return label
  return octets[0] === 0xff && octets[1] === 0xfe ? 'utf-16le' : 'utf-16be'
}
