import { unzipSync } from 'fflate'
import { stringify } from 'csv-stringify/sync'
import { readSheet } from 'read-excel-file/node'
import { CODE, toPerson } from '../read-context.ts'
import type { Refusal } from '../../../domain/schedule/feed.ts'

/** Unpacked. A list of ten thousand visits has a few MB; what is far larger is no list, or meant to fill memory. */
const LARGEST = 64 * 1024 * 1024

/** A workbook is a ZIP archive, and so are other things. */
export const isPacked = (bytes: Uint8Array): boolean =>
  Buffer.from(bytes.subarray(0, 4)).toString('latin1') === 'PK\u0003\u0004'

/**
 * The first sheet of an XLSX workbook (ECMA-376) as a table of text. Dates are written as ISO 8601, without a zone as
 * they stand in the sheet; numbers as they are, so that zeros a spreadsheet took away can be missed.
 */
export async function sheetOf(bytes: Uint8Array): Promise<string | Refusal> {
  if (unpackedSize(bytes) > LARGEST) return TOO_LARGE
  try {
    const rows = await readSheet(Buffer.from(bytes))
    return stringify(rows.map((row) => row.map(cellText)))
  } catch {
    return NO_WORKBOOK
  }
}

/** As the archive itself says; what says less than there is cannot be unpacked. */
function unpackedSize(bytes: Uint8Array): number {
  let size = 0
  try {
    unzipSync(bytes, { filter: ({ originalSize }) => ((size += originalSize), false) })
  } catch {
    return 0
  }
  return size
}

const MIDNIGHT = 'T00:00:00.000Z'
/** Spreadsheets count from here: a time alone is of this day. */
const TIME_ALONE = /^1899-12-3[01]T(\d\d:\d\d)/

function cellText(cell: unknown): string {
  if (cell === null || cell === undefined) return ''
  if (!(cell instanceof Date)) return String(cell).trim()
  // A minute's fraction of a day has no end in binary.
  const iso = new Date(Math.round(cell.getTime() / 1000) * 1000).toISOString()
  const time = TIME_ALONE.exec(iso)
  if (time) return time[1]!
  return iso.endsWith(MIDNIGHT) ? iso.slice(0, 10) : `${iso.slice(0, 10)} ${iso.slice(11, 16)}`
}

const NO_WORKBOOK = toPerson(CODE.type, '', 'This packed file is no workbook (XLSX). Save the sheet as XLSX or CSV.')
const TOO_LARGE = toPerson(CODE.type, '', 'This workbook is far larger than any list of visits. Save the sheet alone.')
