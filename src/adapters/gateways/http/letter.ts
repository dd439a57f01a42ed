import { decode } from '../octets.ts'
import { fieldsOf, type RawFields } from './raw-fields.ts'
import { declaredCharset, elementsAt, parseXml, valueAt, type XmlNode } from './xml.ts'

/** One item of a list, from which `json:` or `xml:` then starts. */
interface Item {
  json?: unknown
  xml?: XmlNode
}

/**
 * What a peer sent: an answer to our request, or a callback. Its body is opened only as far as somebody asks, and read
 * by the charset that it names, or by another that the description knows better.
 */
export class Letter {
  /** As it came, without its question mark. */
  readonly rawQuery: string
  readonly headers: Record<string, string>
  readonly body: Buffer
  readonly #item: Item | undefined
  #query: RawFields | undefined
  #form: RawFields | undefined
  readonly #texts = new Map<string, string>()
  readonly #trees = new Map<string, unknown>()

  constructor(rawQuery: string, headers: Record<string, string>, body: Buffer, item?: Item) {
    this.rawQuery = rawQuery
    this.headers = headers
    this.body = body
    this.#item = item
  }

  /** What the header says of the body; undefined where it says nothing. */
  get charset(): string | undefined {
    return /charset\s*=\s*"?([\w.:-]+)/i.exec(this.headers['content-type'] ?? '')?.[1]?.toLowerCase()
  }

  get query(): RawFields {
    return (this.#query ??= fieldsOf(this.rawQuery))
  }

  get form(): RawFields {
    return (this.#form ??= fieldsOf(this.body.toString('latin1')))
  }

  /** The body as text. What does not hold by the charset is U+FFFD. */
  text(charset = this.charset ?? 'utf-8'): string {
    const known = this.#texts.get(charset)
    if (known !== undefined) return known
    const text = decode(this.body, charset, false) ?? this.body.toString('latin1')
    this.#texts.set(charset, text)
    return text
  }

  /** The body as JSON, or undefined when it is none. */
  json(charset?: string): unknown {
    if (this.#item) return this.#item.json
    return this.#tree(`json ${charset}`, () => parseJson(this.text(charset)))
  }

  /** The body as XML, or undefined when it is none. The header goes before the document's own word (RFC 7303 3). */
  xml(charset = this.charset ?? declaredCharset(this.body)): XmlNode | undefined {
    if (this.#item) return this.#item.xml
    return this.#tree(`xml ${charset}`, () => parseXml(this.text(charset))) as XmlNode | undefined
  }

  /** Seen from each item of the list at `json:path` or `xml:path`; undefined where there is none. */
  each(source: string): Letter[] | undefined {
    const [kind, path] = splitSource(source)
    const about = (item: Item) => new Letter(this.rawQuery, this.headers, this.body, item)
    if (kind === 'xml') return this.xml() && elementsAt(this.xml(), path).map((xml) => about({ xml }))
    const items = pick(this.json(), path)
    return Array.isArray(items) ? items.map((json: unknown) => about({ json })) : undefined
  }

  #tree(name: string, parse: () => unknown): unknown {
    if (!this.#trees.has(name)) this.#trees.set(name, parse())
    return this.#trees.get(name)
  }
}

/**
 * Takes one value out of a letter, or says that it is not there.
 * @param charset where another than the one that the letter names is known
 */
export type Take = (letter: Letter, charset?: string) => string | undefined

/** Makes a source of the configuration (`query:id`, `json:a.b[0]`, …) ready. */
export function taker(source: string): Take {
  const [kind, name] = splitSource(source)
  if (kind === 'header') return (letter) => letter.headers[name.toLowerCase()]
  if (kind === 'query') return (letter, charset) => letter.query.get(name, charset)
  if (kind === 'form') return (letter, charset = letter.charset) => letter.form.get(name, charset)
  if (kind === 'json') return (letter, charset) => scalar(pick(letter.json(charset), name))
  if (kind === 'xml') return (letter, charset) => valueAt(letter.xml(charset), name)
  if (name === '') return (letter, charset) => letter.text(charset)
  const pattern = new RegExp(name, 's')
  return (letter, charset) => pattern.exec(letter.text(charset))?.[1]
}

/** The octets of a value, where it stands alone and not in a document: then its charset is its own. */
export function octetsTaker(source: string): ((letter: Letter) => Buffer | undefined) | undefined {
  const [kind, name] = splitSource(source)
  if (kind === 'query') return (letter) => letter.query.octets(name)
  if (kind === 'form') return (letter) => letter.form.octets(name)
  return source === 'body' ? (letter) => letter.body : undefined
}

/** The part of a JSON value at `a.b[0].c`; undefined where there is none. */
export function pick(value: unknown, path: string): unknown {
  const steps = path.split(/[.[\]]+/).filter((step) => step !== '')
  return steps.reduce<unknown>((at, step) => (isRecord(at) && Object.hasOwn(at, step) ? at[step] : undefined), value)
}

/** What kind of source it is, and what follows the colon. */
export function splitSource(source: string): [string, string] {
  const colon = source.indexOf(':')
  return colon < 0 ? [source, ''] : [source.slice(0, colon), source.slice(colon + 1)]
}

function scalar(value: unknown): string | undefined {
  return ['string', 'number', 'boolean'].includes(typeof value) ? String(value) : undefined
}

function isRecord(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}
