import { decode } from '../octets.ts'

/** Charsets in which a name or a number of ASCII looks like itself. The others are never those of a whole form. */
const WIDE = /^(utf-?16|ucs-?2|iso-10646)/

/** Fields of a query or form, whose values stay octets until somebody knows how to read them. */
export class RawFields {
  readonly #values: ReadonlyMap<string, Buffer>

  constructor(values: ReadonlyMap<string, Buffer>) {
    this.#values = values
  }

  octets(name: string): Buffer | undefined {
    return this.#values.get(name)
  }

  /** As text; what does not hold by the charset is U+FFFD. */
  get(name: string, charset = 'utf-8'): string | undefined {
    const octets = this.#values.get(name)
    const own = WIDE.test(charset.toLowerCase()) ? 'utf-8' : charset
    return octets && (decode(octets, own, false) ?? decode(octets, 'utf-8', false))
  }
}

/**
 * Reads `a=b&c=d` as WHATWG URL 5.1 does, but for the charset. @param raw one character an octet. Of fields of one name
 * the first counts.
 */
export function fieldsOf(raw: string): RawFields {
  const values = new Map<string, Buffer>()
  for (const pair of raw.split('&')) {
    const equals = pair.indexOf('=')
    const [name, value] = equals < 0 ? [pair, ''] : [pair.slice(0, equals), pair.slice(equals + 1)]
    const key = percentDecoded(name).toString('utf8')
    if (pair !== '' && !values.has(key)) values.set(key, percentDecoded(value))
  }
  return new RawFields(values)
}

function percentDecoded(text: string): Buffer {
  const plain = text.replace(/\+/g, ' ')
  return Buffer.from(
    plain.replace(/%([0-9a-f]{2})/gi, (_, hex: string) => String.fromCharCode(parseInt(hex, 16))),
    'latin1',
  )
}
