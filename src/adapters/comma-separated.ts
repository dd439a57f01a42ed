import { stringify } from 'csv-stringify/sync'

/** What a spreadsheet would work out as a formula: OWASP, "CSV Injection". A telephone number is none. */
const FORMULA = /^(?!\+\d+$)[=+\-@\t\r]/

/** Rows as a file of comma-separated values (RFC 4180). What might be a formula begins with an apostrophe instead. */
export function commaSeparated(rows: readonly (readonly string[])[]): string {
  const cast = { string: (value: string) => (FORMULA.test(value) ? `'${value}` : value) }
  return stringify(rows as string[][], { quoted: true, record_delimiter: 'windows', cast })
}
