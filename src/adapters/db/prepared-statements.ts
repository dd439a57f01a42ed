import { CompiledQuery, type Insertable, type Kysely } from 'kysely'
import type { AllTables } from './access/access.tables.ts'

const names = new Map<string, string>()

/** The name by which a connection may know a statement from its second time on; none for one that is made anew each time. */
export const nameOf = (text: string): string | undefined => names.get(text)

/** A connection keeps every statement that it knows by name. There are some dozens. */
const MOST_NAMES = 300

/** From now on this text has a name. */
function named(text: string): void {
  if (!names.has(text) && names.size < MOST_NAMES) names.set(text, `daysix_${names.size}`)
}

/**
 * Rows of a statement whose text is made once: for what is asked all the time. Within a transaction a connection reads and
 * plans it once, so it names its columns (a table may get another one meanwhile), and one plan must do for all values.
 * @returns them as the database has them
 */
export async function rowsOf<Row>(db: Pick<Kysely<never>, 'executeQuery'>, text: string, params: unknown[] = []): Promise<Row[]> {
  named(text)
  return (await db.executeQuery<Row>(CompiledQuery.raw(text, params))).rows
}

const texts = new Map<string, string>()

/** A text that is made, and named, the first time that its key is asked for. */
export function readyMade(key: string, make: () => string): string {
  const known = texts.get(key)
  if (known !== undefined) return known
  const text = make()
  texts.set(key, text)
  named(text)
  return text
}

/**
 * Inserts rows, which all have the same columns, as one parameter: a document that PostgreSQL takes apart. Its text is the
 * same for any number of rows, so that it is made once; row by row and column by column, making it would cost more than the
 * rest of a booking.
 */
export async function insertRows<Table extends keyof AllTables>(
  db: Pick<Kysely<never>, 'executeQuery'>,
  table: Table,
  rows: readonly Insertable<AllTables[Table]>[],
): Promise<void> {
  if (rows.length === 0) return
  await db.executeQuery(CompiledQuery.raw(textFor(table, Object.keys(rows[0]!)), [asJson(rows)]))
}

function textFor(table: string, names: readonly string[]): string {
  return readyMade(`${table} ${names.join()}`, () => {
    const columns = names.map((name) => `"${name}"`).join(', ')
    return `insert into "${table}" (${columns}) select ${columns} from json_populate_recordset(null::"${table}", $1)`
  })
}

/** Half a character, as a careless program cuts them, is no text for PostgreSQL: it becomes the sign for an unreadable one. */
function asJson(rows: readonly object[]): string {
  const json = JSON.stringify(rows)
  return /\\ud[89a-f]/.test(json) ? JSON.stringify(rows, (_key, value: unknown) => (typeof value === 'string' ? Buffer.from(value).toString() : value)) : json
}
