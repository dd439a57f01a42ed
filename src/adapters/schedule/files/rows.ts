import { parse } from 'csv-parse/sync'
import type { Feed, Refusal } from '../../../domain/schedule/feed.ts'
import { CODE, notForUs } from '../read-context.ts'

/** Our names of columns. */
export const COLUMNS = [
  'id',
  'occurrence',
  'date',
  'time',
  'start',
  'minutes',
  'place',
  'clinician',
  'type',
  'status',
  'name',
  'given',
  'family',
  'phone',
  'mobile',
  'email',
  'birthDate',
  'patientId',
  'language',
  'lmp',
  'consent',
  'dueBy',
] as const
export type Column = (typeof COLUMNS)[number]

/** A line of the table: its number as a spreadsheet shows it, and what stands in the columns that are known. */
export interface Row {
  number: number
  cells: Readonly<Partial<Record<Column, string>>>
  /** Every cell, known or not. */
  all: readonly string[]
}

export interface Table {
  rows: Row[]
  /** What the file calls each column, for whoever mends it. */
  titles: Readonly<Partial<Record<Column, string>>>
  /** The row at which reading ended before the file did; null = all of it was read. */
  brokenAt: number | null
}

const DELIMITERS = [',', ';', '\t', '|']
/** A title or two may stand above the header. */
const HEADER_WITHIN = 20

/** The rows below the header. Blank rows and repetitions of the header are no rows; they count as numbers. */
export function rowsOf(text: string, feed: Feed): Table | Refusal {
  const titles = Object.fromEntries(COLUMNS.map((name) => [name, titleOf(name, feed)]))
  const { records, brokenAt } = cut(text, titles)
  const index = records.slice(0, HEADER_WITHIN).findIndex((cells) => isHeader(cells, titles))
  if (index < 0)
    return notForUs(
      CODE.missing,
      'row 1',
      `No row names the columns. Needed: "${titles['id']}", and "${titles['start']}" or "${titles['date']}".`,
    )
  const header = records[index]!.map(plain)
  const places = COLUMNS.map((name) => [name, header.indexOf(plain(titles[name]!))] as const)
  const twice = places.find(([, at]) => at >= 0 && header.indexOf(header[at]!, at + 1) >= 0)
  if (twice) {
    const at = `row ${index + 1}, column "${titles[twice[0]]}"`
    return notForUs(CODE.value, at, 'Two columns have this name: rename the one that is not meant.')
  }
  const rows = records
    .map((all, place): Row => {
      const cells = places.filter(([, at]) => at >= 0).map(([name, at]) => [name, tidy(all[at] ?? '')])
      return { number: place + 1, all, cells: Object.fromEntries(cells) }
    })
    .filter(({ number, all }) => number > index + 1 && all.some((cell) => cell.trim() !== ''))
    .filter(({ all }) => all.map(plain).join('\n') !== header.join('\n'))
  return { rows, titles, brokenAt }
}

/** What a feed calls a column; without a word, as we do. Of consent the feed says it apart. */
function titleOf(name: Column, { columns, consent }: Feed): string {
  if (Object.hasOwn(columns, name)) return columns[name]!
  return name === 'consent' && consent ? consent.field : name
}

/** Cut at the sign by which the header falls into most of the columns that are looked for. */
function cut(text: string, titles: Readonly<Record<string, string>>) {
  const bare = text.replace(/^\ufeff/, '')
  const told = /^sep=(.)\r?\n/i.exec(bare)
  if (told) return recordsOf(bare, told[1]!)
  const wanted = new Set(Object.values(titles).map(plain))
  const scored = DELIMITERS.map((delimiter) => {
    const head = recordsOf(bare, delimiter, HEADER_WITHIN).records
    const known = head.map((cells) => cells.filter((cell) => wanted.has(plain(cell))).length)
    return { delimiter, known: Math.max(0, ...known) }
  })
  const best = scored.reduce((a, b) => (b.known > a.known ? b : a))
  return recordsOf(bare, best.delimiter)
}

/** RFC 4180, but for what spreadsheets do besides: uneven rows, quotes within. What precedes a fault is kept. */
function recordsOf(text: string, delimiter: string, most?: number) {
  const records: string[][] = []
  try {
    parse(text, {
      delimiter,
      relax_column_count: true,
      relax_quotes: true,
      skip_empty_lines: false,
      on_record: (record: string[]) => void records.push(record),
      ...(most !== undefined && { to: most }),
    })
    return { records, brokenAt: null }
  } catch {
    return { records, brokenAt: records.length + 1 }
  }
}

function isHeader(cells: readonly string[], titles: Readonly<Record<string, string>>): boolean {
  const has = (name: Column) => cells.some((cell) => plain(cell) === plain(titles[name]!))
  return has('id') && (has('start') || has('date'))
}

/** Names of columns are compared without capitals and stray blanks. */
function plain(cell: string): string {
  return cell
    .replaceAll(/[\s\u00a0]+/g, ' ')
    .trim()
    .toLowerCase()
}

/** Without blanks around it, and without the `="…"` by which spreadsheets are made to keep zeros. */
function tidy(cell: string): string {
  const bare = cell.replaceAll('\u00a0', ' ').trim()
  return /^="(.*)"$/s.exec(bare)?.[1] ?? bare
}
