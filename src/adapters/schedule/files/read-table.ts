import type { Feed, MessageRead } from '../../../domain/schedule/feed.ts'
import { CODE, toPerson, type ReadContext } from '../read-context.ts'
import { dateOrderOf } from './dates.ts'
import { decode } from '../decode.ts'
import { lostZeros } from './phones.ts'
import { rowsOf, type Row } from './rows.ts'
import { at, readRow, type Sheet } from './visit-row.ts'

/**
 * What a table says of the schedule (CSV by RFC 4180, and what spreadsheets make of it): one answer for each row that
 * holds something, in order. A bad row keeps its number, its fault and its mend; the good ones stay.
 */
export function readTable(file: string | Uint8Array, feed: Feed, context: ReadContext): MessageRead[] {
  const table = rowsOf(typeof file === 'string' ? file : decode(file, feed), feed)
  if ('ack' in table) return [table]
  const visits = table.rows.filter((row) => !isTotal(row))
  const order = dateOrderOf({ ...table, rows: visits }, feed)
  if (order !== null && typeof order === 'object') return [order]
  const sheet: Sheet = { feed, context, titles: table.titles, order, lostZeros: lostZeros(visits) }
  const twice = toldTwice(visits)
  const answer = (row: Row): MessageRead => {
    if (isTotal(row)) return { news: [], doubts: [`row ${row.number}: a row of totals, passed over.`] }
    return twice.has(row)
      ? toPerson(
          CODE.value,
          at(row, sheet)('id'),
          'Several rows that differ have this number: say which of them stands.',
        )
      : readRow(row, sheet)
  }
  const answers = table.rows.map((row): MessageRead => ({ ...answer(row), row: row.number }))
  if (table.brokenAt === null) return answers
  const why = 'A quotation mark is opened here and never closed: this row and what follows were not read.'
  return [...answers, { ...toPerson(CODE.type, `row ${table.brokenAt}`, why), row: table.brokenAt }]
}

const SUM = /^((sub|grand )?totals?|sum|count|page \d+)\b/i

/** Sums below a list, and the foot of a page: words of that kind, where a visit has its number or its date. */
function isTotal({ all, cells }: Row): boolean {
  const isVisit = cells.id && !SUM.test(cells.id) && (cells.start || cells.date)
  return !isVisit && all.some((cell) => SUM.test(cell.trim()))
}

/** Rows of one visit that do not agree: which stands cannot be told from their order. */
function toldTwice(rows: readonly Row[]): ReadonlySet<Row> {
  const byKey = new Map<string, Row[]>()
  for (const row of rows) {
    if (!row.cells.id) continue
    const key = JSON.stringify([row.cells.id, row.cells.occurrence ?? ''])
    byKey.set(key, [...(byKey.get(key) ?? []), row])
  }
  const differ = (same: readonly Row[]) => new Set(same.map(({ cells }) => JSON.stringify(cells))).size > 1
  return new Set([...byKey.values()].filter(differ).flat())
}
