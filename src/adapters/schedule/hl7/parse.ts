import type { Refusal } from '../../../domain/schedule/feed.ts'
import type { Told } from '../../../domain/schedule/schedule-news.ts'
import { decodeMessage } from './charset.ts'
import { unescape, type Delimiters } from './escapes.ts'

/** `fields[n]` is what HL7 numbers n: repetitions of components of subcomponents; `fields[0]` is the name. */
export interface Segment {
  name: string
  fields: readonly (readonly (readonly (readonly string[])[])[])[]
}

export interface Hl7Message {
  delimiters: Delimiters
  /** WHATWG label of what its bytes were in. */
  charset: string
  segments: readonly Segment[]
  doubts: readonly string[]
}

/** Where reading fails after the head was read, `head` is that of the message, so that its sender can be answered. */
export type Parsed = { message: Hl7Message } | { refusal: Refusal; head: Hl7Message | null }

const MSH = 'MSH'
const UTF8_MARK = [0xef, 0xbb, 0xbf]

/**
 * A message's bytes as segments. Delimiters come from the message itself; it is split first, and escapes are resolved
 * in what is left, so that an escaped delimiter never splits.
 * @param fallback charset of a message that names none and is not UTF-8
 */
export function parse(bytes: Uint8Array, fallback: string): Parsed {
  const body = bodyOf(bytes)
  const head = parseHead(body)
  if (head === null) return { refusal: NO_MESSAGE, head }
  const { delimiters } = head
  const told = head.segments[0]!.fields[18]?.map((repetition) => repetition[0]?.[0]?.trim() ?? '') ?? []
  const decoded = decodeMessage(body, told, fallback)
  if (decoded === null) return { refusal: NO_CHARSET, head }
  const { lines, lost } = toLines(decoded.text, delimiters)
  if (lines.filter((line) => line.startsWith(MSH)).length > 1) return { refusal: TWO_MESSAGES, head }
  const segments = lines.map((line) => toSegment(line, delimiters, decoded.charset))
  const doubts = lost ? [...decoded.doubts, 'Lines that are no segments were passed over.'] : decoded.doubts
  return { message: { delimiters, charset: decoded.charset, segments, doubts } }
}

/**
 * The MSH segment alone; null where there is none that says by what it is delimited. Delimiters and what is asked of a
 * head are ASCII: Latin-1 shows them whatever the rest is in.
 */
export function parseHead(bytes: Uint8Array): Hl7Message | null {
  const raw = Buffer.from(bodyOf(bytes)).toString('latin1')
  const delimiters = delimitersOf(raw)
  if (delimiters === null) return null
  const charset = 'iso-8859-1'
  return { delimiters, charset, segments: [toSegment(raw.split(/[\r\n]/, 1)[0]!, delimiters, charset)], doubts: [] }
}

function bodyOf(bytes: Uint8Array): Uint8Array {
  return UTF8_MARK.every((byte, index) => bytes[index] === byte) ? bytes.subarray(UTF8_MARK.length) : bytes
}

const NO_MESSAGE: Refusal = {
  ack: 'AE',
  code: 100,
  at: MSH,
  why: 'This does not begin with an MSH segment that says which delimiters it uses, e.g. MSH|^~\\&|.',
}
const NO_CHARSET: Refusal = {
  ack: 'AE',
  code: 102,
  at: 'MSH^1^18',
  why: 'The bytes are in no charset that MSH-18 or the description of the feed names. Name it there.',
}
const TWO_MESSAGES: Refusal = {
  ack: 'AE',
  code: 100,
  at: MSH,
  why: 'One frame holds two messages. Send each in a frame of its own.',
}

/** MSH-1 and MSH-2; those that are left out are the usual ones. Null where they cannot delimit. */
function delimitersOf(text: string): Delimiters | null {
  const field = text[3]
  if (!text.startsWith(MSH) || field === undefined) return null
  const told = text
    .slice(4)
    .split(/[\r\n]/, 1)[0]!
    .split(field, 1)[0]!
  const all = [field, ...told]
  const usable = (mark: string) => /^[!-/:-@[-`{-~]$/.test(mark)
  if (told.length < 1 || told.length > 5 || !all.every(usable) || new Set(all).size < all.length) return null
  const usual = ['^', '~', '\\', '&'].map((mark, index) => told[index] ?? (all.includes(mark) ? '' : mark))
  const [component, repetition, escape, subcomponent] = usual as [string, string, string, string]
  return { field, component, repetition, escape, subcomponent, truncation: told[4] ?? '' }
}

/** CR ends a segment, and LF where a segment follows: else it is a line broken within a field. */
function toLines(text: string, { field }: Delimiters): { lines: string[]; lost: boolean } {
  const begins = `[A-Z][A-Z0-9]{2}(?=${escaped(field)}|[\\r\\n]|$)`
  const all = text.split(new RegExp(`\\r\\n?|\\n(?=$|\\n|${begins})`)).filter((line) => line.trim() !== '')
  const segment = new RegExp(`^${begins}`)
  const lines = all.filter((line) => segment.test(line))
  return { lines, lost: lines.length < all.length }
}

const escaped = (mark: string) => mark.replace(/[\\^$.*+?()[\]{}|/-]/, '\\$&')

function toSegment(line: string, marks: Delimiters, charset: string): Segment {
  const name = line.slice(0, 3)
  const texts = line.split(marks.field)
  const fields = texts.map((text) => toField(text, marks, charset))
  // MSH-1 is the delimiter itself, and MSH-2 must not be split by what it names.
  return name === MSH
    ? { name, fields: [[[[name]]], [[[marks.field]]], [[[texts[1] ?? '']]], ...fields.slice(2)] }
    : { name, fields }
}

function toField(text: string, marks: Delimiters, charset: string): string[][][] {
  return cut(text, marks.repetition).map((repetition) =>
    cut(repetition, marks.component).map((component) =>
      cut(component, marks.subcomponent).map((leaf) => unescape(leaf, marks, charset)),
    ),
  )
}

const cut = (text: string, mark: string) => (mark === '' ? [text] : text.split(mark))

/** `""`: told to be none. */
const NONE = '""'

/**
 * A value by HL7's own numbers, all from 1. Null = told to be none (`""`); undefined = not told. A component that was
 * split further gives its first part, as later versions did with components of earlier ones.
 */
export function get(
  segment: Segment | undefined,
  field: number,
  repetition = 1,
  component = 1,
  subcomponent = 1,
): Told<string> {
  const value = segment?.fields[field]?.[repetition - 1]?.[component - 1]?.[subcomponent - 1]?.trim() ?? ''
  if (value === NONE) return null
  return value === '' ? undefined : value
}

/** The same where it does not matter whether it is none or not told. */
export function text(...where: Parameters<typeof get>): string {
  return get(...where) ?? ''
}

/** The numbers of a field's repetitions: `[1, 2]` for two. */
export function repetitions(segment: Segment | undefined, field: number): number[] {
  return (segment?.fields[field] ?? []).map((_, index) => index + 1)
}

/** All segments of a name. */
export function segmentsOf(message: Hl7Message, name: string): Segment[] {
  return message.segments.filter((segment) => segment.name === name)
}

/** The first segment of a name. */
export function segmentOf(message: Hl7Message, name: string): Segment | undefined {
  return message.segments.find((segment) => segment.name === name)
}
