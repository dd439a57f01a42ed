import { createHash } from 'node:crypto'
import { DateTime } from 'luxon'
import type { InboundMessage, Receipt } from '../../../flows/ports/gateway.ts'
import { e164 } from '../e164.ts'
import { safeCode } from '../safe-code.ts'
import type { ReceiptMapping, ReplyMapping, TextEncoding } from './http-config.ts'
import { asText, damaged, noText, readOctets, type Wording } from '../octets.ts'
import { octetsTaker, taker, type Letter, type Take } from './letter.ts'

/** What was understood; `undefined` when the callback makes no sense at all. */
export type ReadCallback<T> = (letter: Letter, now: Date) => T[] | undefined

/** Makes the mapping of receipts ready. States that are not mapped, and those to ignore, yield nothing. */
export function receiptReader(mapping: ReceiptMapping, gateway: string): ReadCallback<Receipt> {
  const [ourId, ref, state, code] = [mapping.ourId, mapping.ref, mapping.state, mapping.code].map(optional)
  const timeOf = timeReader(mapping)
  return overEach(mapping.each, (letter, now) => {
    const found = { messageId: filled(ourId!(letter)), ref: filled(ref!(letter)) }
    const given = state!(letter)
    if (given === undefined || (!found.messageId && !found.ref)) return undefined
    const known = Object.hasOwn(mapping.states, given) ? mapping.states[given]! : 'ignore'
    if (known === 'ignore') return []
    // Peers give a code with success too: it says nothing about a message that arrived.
    const why = known === 'delivered' ? undefined : safeCode(code!(letter))
    return [{ gateway, state: known, at: timeOf(letter, now), ...present({ ...found, code: why }) }]
  })
}

/** Makes the mapping of replies ready. A sender that is no phone number (a name, a short code) yields nothing. */
export function replyReader(mapping: ReplyMapping, gateway: string): ReadCallback<InboundMessage> {
  const [from, key, time] = [mapping.from, mapping.key, mapping.at].map(optional)
  const textOf = textReader(mapping)
  const timeOf = timeReader(mapping)
  return overEach(mapping.each, (letter, now) => {
    const [sender, wording] = [filled(from!(letter)), textOf(letter)]
    if (sender === undefined || wording === undefined) return undefined
    const number = e164(sender, mapping.country)
    const at = timeOf(letter, now)
    if (number === undefined) return []
    const same = filled(key!(letter)) ?? digest(number, wording.octets ?? wording.text, time!(letter))
    return [{ gateway, key: same, from: number, ...wording, at }]
  })
}

/** One item that makes no sense does not cost the others. */
function overEach<T>(each: string | undefined, read: ReadCallback<T>): ReadCallback<T> {
  if (each === undefined) return read
  return (letter, now) => {
    const items = letter.each(each)
    if (items === undefined) return undefined
    const found = items.map((item) => read(item, now))
    const readable = found.filter((facts) => facts !== undefined)
    return items.length > 0 && readable.length === 0 ? undefined : readable.flat()
  }
}

function optional(source: string | undefined): Take {
  return source === undefined ? () => undefined : taker(source)
}

function filled(value: string | undefined): string | undefined {
  return value === undefined || value === '' ? undefined : value
}

function present<T extends object>(values: T): { [K in keyof T]?: NonNullable<T[K]> } {
  return Object.fromEntries(Object.entries(values).filter(([, value]) => value !== undefined)) as {
    [K in keyof T]?: NonNullable<T[K]>
  }
}

function timeReader({ at, atFormat }: Pick<ReplyMapping, 'at' | 'atFormat'>): (letter: Letter, now: Date) => Date {
  const take = optional(at)
  return (letter, now) => {
    const value = filled(take(letter))
    return (value === undefined ? undefined : instant(value, atFormat)) ?? now
  }
}

function instant(value: string, format: ReplyMapping['atFormat']): Date | undefined {
  if (format === 'iso') {
    const time = DateTime.fromISO(value, { zone: 'utc' })
    return time.isValid ? time.toJSDate() : undefined
  }
  const number = Number(value) * (format === 'unix' ? 1000 : 1)
  return Number.isFinite(number) ? new Date(number) : undefined
}

/** Stands in for an id: the same reply told again is the same text from the same number at the same time. */
function digest(from: string, text: string, time: string | undefined): string {
  return createHash('sha256')
    .update(JSON.stringify([from, text, time]))
    .digest('hex')
    .slice(0, 32)
}

/**
 * Reads the patient's words as they were written: by the encoding of the description, else by the charset that the
 * callback names, else UTF-8. What does not hold by it is kept as it came, and no words are made of it.
 */
function textReader(mapping: ReplyMapping): (letter: Letter) => Wording | undefined {
  const take = taker(mapping.text)
  const octetsOf = octetsTaker(mapping.text)
  const encodingOf = encodingReader(mapping)
  const isQuery = mapping.text.startsWith('query:') // the charset of a letter is that of its body
  return (letter) => {
    const encoding = encodingOf(letter)
    if (encoding === 'utf-16be-hex' || encoding === 'base64') return coded(take(letter), encoding)
    const charset = encoding ?? (isQuery ? undefined : letter.charset)
    if (!octetsOf) return inDocument(take(letter, charset), letter)
    const octets = octetsOf(letter)
    return octets && readOctets(octets, charset ?? 'utf-8')
  }
}

/** A value of a document whose octets do not hold by its charset cannot be told from its neighbours: all is kept. */
function inDocument(value: string | undefined, { body }: Letter): Wording | undefined {
  if (value === undefined) return undefined
  return value.includes('\ufffd') ? damaged(value, body) : asText(value, Buffer.from(value))
}

const CODED = { 'utf-16be-hex': /^(?:[0-9a-f]{4})*$/i, base64: /^[A-Za-z0-9+/_-]*={0,2}$/ }

function coded(value: string | undefined, encoding: keyof typeof CODED): Wording | undefined {
  if (value === undefined) return undefined
  const bare = value.replace(/\s/g, '')
  if (!CODED[encoding].test(bare)) return noText(Buffer.from(value))
  return encoding === 'base64'
    ? readOctets(Buffer.from(bare, 'base64'), 'utf-8')
    : readOctets(Buffer.from(bare, 'hex'), 'utf-16be')
}

function encodingReader({ encoding }: ReplyMapping): (letter: Letter) => TextEncoding | undefined {
  if (encoding === undefined || typeof encoding === 'string') return () => encoding
  const by = taker(encoding.by)
  return (letter) => encoding.as[by(letter) ?? '']
}
