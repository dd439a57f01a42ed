import { createHash } from 'node:crypto'
import type { Insertable } from 'kysely'
import type { AllTables } from './access/access.tables.ts'

/**
 * A statement whose text never changes: a connection parses and plans it once, and from then on knows it by its name
 * (PREPARE). So its text lists its columns, since a table may get another one while the connection lives, and one plan
 * must do for all values.
 */
export interface PreparedStatement<Row = never> {
  readonly name: string
  readonly text: string
  /** What its rows are; for the compiler only. */
  readonly row?: Row
}

/** Made once, where it is declared: its name comes from its text, so that no two statements share one. */
export function prepared<Row = never>(text: string): PreparedStatement<Row> {
  return { name: `daysix_${createHash('sha256').update(text).digest('base64url').slice(0, 22)}`, text }
}

/** Inserts any number of rows. */
export interface InsertStatement<Row> extends PreparedStatement {
  readonly columns: readonly (keyof Row)[]
}

/**
 * Rows are inserted as one parameter, a JSON document that PostgreSQL takes apart: row by row and column by column,
 * making and binding the parameters would cost more than the rest of a booking.
 */
export function insertInto<Table extends keyof AllTables & string>(
  table: Table,
  columns: readonly (keyof Insertable<AllTables[Table]> & string)[],
): InsertStatement<Insertable<AllTables[Table]>> {
  const names = columns.map((name) => `"${name}"`).join(', ')
  const text = `insert into "${table}" (${names}) select ${names} from json_populate_recordset(null::"${table}", $1)`
  return { ...prepared(text), columns }
}

/** The parameter of an insert. @throws Error when a row has other columns than the statement */
export function asParameter<Row extends object>({ columns, text }: InsertStatement<Row>, rows: readonly Row[]): string {
  const wrong = rows.find((row) => Object.keys(row).length !== columns.length)
  if (wrong) throw new Error(`A row has the columns ${Object.keys(wrong).join()}; the statement is: ${text}`)
  return asJson(rows)
}

/**
 * Rows as a JSON document. Half a character, as a careless program cuts them, is no text for PostgreSQL: it becomes the
 * sign for an unreadable one.
 */
export function asJson(rows: readonly object[]): string {
  const json = JSON.stringify(rows)
  return /\\ud[89a-f]/.test(json) ? JSON.stringify(rows, (_key, value: unknown) => wellFormed(value)) : json
}

const wellFormed = (value: unknown) => (typeof value === 'string' ? Buffer.from(value).toString() : value)
