import type { Pool } from '../../src/adapters/db/pool.ts'

/** Tables that news of visits writes into, each before those that refer to it. */
const TABLES = [
  ...['patient', 'booking', 'slot', 'consent', 'message', 'happening', 'follow_up'],
  ...['feed_visit', 'feed_patient', 'feed_seen'],
] as const
/** Counted on, never added to. */
const COUNTERS = ['feed', 'feed_day']

interface Written {
  table: string
  columns: string
  rows: object[]
}

/** Up to which transaction the database has come. */
export async function now(pool: Pool): Promise<string> {
  const { rows } = await pool.query('select pg_current_xact_id()::xid::text as at')
  return rows[0]!.at as string
}

/**
 * Rows that were written since a transaction, table by table. @throws where another table has some: what it holds would
 * be left out
 */
export async function writtenSince(pool: Pool, since: string): Promise<Written[]> {
  const { rows: tables } = await pool.query(`select table_name as table, string_agg(quote_ident(column_name), ', ')
    filter (where is_identity = 'NO') as columns from information_schema.columns
    where table_schema = 'daysix' group by table_name`)
  const found: Written[] = []
  for (const { table, columns } of tables as { table: string; columns: string }[]) {
    const newer = `select to_jsonb(t) as row from daysix.${table} t where xmin::text::bigint > ${since} order by ctid`
    const { rows } = await pool.query(newer)
    if (rows.length > 0 && !COUNTERS.includes(table))
      found.push({ table, columns, rows: rows.map(({ row }) => row as object) })
  }
  const others = found.filter(({ table }) => !(TABLES as readonly string[]).includes(table))
  if (others.length > 0) throw new Error(`rows in ${others.map(({ table }) => table).join(', ')} too`)
  const place = ({ table }: Written) => (TABLES as readonly string[]).indexOf(table)
  return found.sort((a, b) => place(a) - place(b))
}

export async function takenAway(pool: Pool, written: readonly Written[], since: string): Promise<void> {
  for (const { table } of written.toReversed())
    await pool.query(`delete from daysix.${table} where xmin::text::bigint > ${since}`)
}

/** The least that could be called the same work: the very same rows, in as many transactions, a statement a table. */
export async function bareInserts(pool: Pool, written: readonly Written[], transactions: number): Promise<void> {
  const shares = sharesOf(written, transactions)
  const client = await pool.connect()
  for (let nth = 0; nth < transactions; nth++) {
    await client.query('begin')
    await client.query('set constraints all deferred')
    for (const { table, columns, rows } of written)
      await client.query(
        `insert into daysix.${table} (${columns})
          select ${columns} from json_populate_recordset(null::daysix.${table}, $1)`,
        [JSON.stringify(shares.get(rows)![nth])],
      )
    await client.query('commit')
  }
  client.release()
}

type Row = Record<string, unknown>

/** The rows of each table by transaction: those of a visit together. */
function sharesOf(written: readonly Written[], transactions: number): Map<readonly object[], object[][]> {
  const bookings = written.find(({ table }) => table === 'booking')!.rows as Row[]
  const nthOf = new Map<unknown, number>()
  for (const [at, { id, patient_id: patient }] of bookings.entries())
    for (const each of [id, patient]) nthOf.set(each, Math.floor((at * transactions) / bookings.length))
  return new Map(
    written.map(({ rows }) => {
      const shares: object[][] = Array.from({ length: transactions }, () => [])
      for (const [at, row] of (rows as Row[]).entries()) {
        const nth = nthOf.get(row.booking_id) ?? nthOf.get(row.patient_id) ?? nthOf.get(row.id)
        shares[nth ?? Math.floor((at * transactions) / rows.length)]!.push(row)
      }
      return [rows, shares]
    }),
  )
}
