import { createHash } from 'node:crypto'
import { DateTime } from 'luxon'
import type { InboundMessage, Receipt } from '../../../flows/ports/gateway.ts'
import { e164 } from '../e164.ts'
import { safeCode } from '../safe-code.ts'
import type { ReceiptMapping, ReplyMapping, TextEncoding } from './http-config.ts'
import { type Letter, pick, taker, type Take } from './letter.ts'

/** What was understood; `undefined` when the callback makes no sense at all. */
export type ReadCallback<T> = (letter: Letter, now: Date) => T[] | undefined

/** Makes the mapping of receipts ready. States that are not mapped, and those to ignore, yield nothing. */
export function receiptReader(mapping: ReceiptMapping, gateway: string): ReadCallback<Receipt> {
  const [ourId, ref, state, code] = [mapping.ourId, mapping.ref, mapping.state, mapping.code].map(optional)
  const timeOf = timeReader(mapping)
  return overEach(mapping.each, (letter, now) => {
    const found = { messageId: filled(ourId!(letter)), ref: filled(ref!(letter)), code: safeCode(code!(letter)) }
    const given = state!(letter)
    if (given === undefined || (!found.messageId && !found.ref)) return undefined
    const known = Object.hasOwn(mapping.states, given) ? mapping.states[given]! : 'ignore'
    return known === 'ignore' ? [] : [{ gateway, state: known, at: timeOf(letter, now), ...present(found) }]
  })
}

/** Makes the mapping of replies ready. A sender that is no phone number (a name, a short code) yields nothing. */
export function replyReader(mapping: ReplyMapping, gateway: string): ReadCallback<InboundMessage> {
  const [from, key, time] = [mapping.from, mapping.key, mapping.at].map(optional)
  const textOf = textReader(mapping)
  const timeOf = timeReader(mapping)
  return overEach(mapping.each, (letter, now) => {
    const [sender, text] = [filled(from!(letter)), textOf(letter)]
    if (sender === undefined || text === undefined) return undefined
    const number = e164(sender, mapping.country)
    const at = timeOf(letter, now)
    if (number === undefined) return []
    return [{ gateway, key: filled(key!(letter)) ?? digest(number, text, time!(letter)), from: number, text, at }]
  })
}

/** One item that makes no sense does not cost the others. */
function overEach<T>(each: string | undefined, read: ReadCallback<T>): ReadCallback<T> {
  if (each === undefined) return read
  const path = each.slice('json:'.length)
  return (letter, now) => {
    const items = pick(letter.json, path)
    if (!Array.isArray(items)) return undefined
    const found = items.map((item: unknown) => read(letter.about(item), now))
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

function textReader(mapping: ReplyMapping): Take {
  const take = taker(mapping.text)
  const encodingOf = encodingReader(mapping)
  if (mapping.text === 'body') return (letter) => decodeBytes(letter.body, encodingOf(letter) ?? charsetOf(letter))
  return (letter) => {
    const value = take(letter)
    return value === undefined ? undefined : decodeValue(value, encodingOf(letter) ?? 'utf-8')
  }
}

function encodingReader({ encoding }: ReplyMapping): (letter: Letter) => TextEncoding | undefined {
  if (encoding === undefined || typeof encoding === 'string') return () => encoding
  const by = taker(encoding.by)
  return (letter) => encoding.as[by(letter) ?? '']
}

function charsetOf(letter: Letter): TextEncoding {
  const charset = /charset="?([\w-]+)/i.exec(letter.headers['content-type'] ?? '')?.[1]?.toLowerCase()
  if (charset === 'utf-16be' || charset === 'utf-16' || charset === 'ucs-2') return 'utf-16be'
  return charset === 'iso-8859-1' || charset === 'latin1' ? 'latin1' : 'utf-8'
}

/** Damaged bytes become U+FFFD rather than a refusal: a text half read is better put before a person than lost. */
function decodeBytes(bytes: Buffer, encoding: TextEncoding): string {
  if (encoding === 'utf-16be-hex' || encoding === 'base64') return decodeValue(bytes.toString('latin1'), encoding)
  return new TextDecoder(encoding).decode(bytes)
}

function decodeValue(value: string, encoding: TextEncoding): string {
  if (encoding === 'utf-16be-hex') return decodeBytes(Buffer.from(value.trim(), 'hex'), 'utf-16be')
  if (encoding === 'base64') return decodeBytes(Buffer.from(value, 'base64'), 'utf-8')
  return value
}
