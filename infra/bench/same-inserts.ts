import express from 'express'
import { listen } from '../../src/adapters/http/listen.ts'
import type { Pool } from '../../src/adapters/db/pool.ts'

/** What one booking wrote into a table: its rows as a JSON array, and the columns that are to be given. */
interface Written {
  table: string
  columns: string
  rows: string
  count: number
}

/**
 * The rows that the newest booking wrote, in an order in which they can be written again, and the ids they are known
 * by.
 */
export interface Inserts {
  written: Written[]
  /** Everything that must be another's in another booking's rows. */
  own: string[]
}

/** Tables before those that refer to them. */
const TABLES = ['patient', 'booking', 'slot', 'consent', 'message', 'happening', 'idempotency', 'audit']

/** Reads from the database which rows a booking wrote: those of its transaction, and its entry in the audit chain. */
export async function insertsOfABooking(pool: Pool): Promise<Inserts> {
  const { rows: newest } = await pool.query(
    'select xmin::text as by from daysix.booking order by created_at desc, id desc limit 1',
  )
  const { by } = newest[0] as { by: string }
  const written: Written[] = []
  for (const table of TABLES) {
    const where =
      table === 'audit'
        ? `seq = (select max(seq) from daysix.audit where what like '%bookings')`
        : `xmin::text = '${by}'`
    const { rows } = await pool.query(
      `select coalesce(json_agg(t), '[]')::text as rows, count(*)::int as count from daysix.${table} t where ${where}`,
    )
    const { rows: known } = await pool.query(
      `select string_agg(quote_ident(column_name), ', ' order by ordinal_position) as columns from information_schema.columns where table_schema = 'daysix' and table_name = '${table}' and is_identity = 'NO'`,
    )
    const { rows: json, count } = rows[0] as { rows: string; count: number }
    if (count > 0) written.push({ table, columns: known[0]!.columns as string, rows: json, count })
  }
  return { written, own: ownIds(written) }
}

function ownIds(written: readonly Written[]): string[] {
  const rows = written.flatMap(({ table, rows }) =>
    (JSON.parse(rows) as Record<string, unknown>[]).map((row) => ({ table, row })),
  )
  const ids = rows.flatMap(({ table, row }) => [row.id, row.phone_print, ...(table === 'idempotency' ? [row.key] : [])])
  return [...new Set(ids.filter((each): each is string => typeof each === 'string'))]
}

/**
 * The least that could be called the same work: reads JSON, writes the same rows into the same tables in one
 * transaction, a statement a table, answers. Ids, numbers and times are new; nothing is judged, sealed, planned or
 * authorised.
 */
export async function bareBooking(pool: Pool, { written, own }: Inserts) {
  const parts = written.map(({ rows }) => rows.split(new RegExp(`(${own.join('|')})`)))
  const texts = written.map(
    ({ table, columns }) =>
      `insert into daysix.${table} (${columns}) select ${columns} from json_populate_recordset(null::daysix.${table}, $1)`,
  )
  const app = express().use(express.json())
  let n = 0
  app.post('/', async (asked, response) => {
    const at = ++n
    const fresh = new Map(own.map((id) => [id, `${id.slice(0, -7)}~${String(at).padStart(6, '0')}`]))
    const client = await pool.connect()
    await client.query('begin')
    for (const [which, text] of texts.entries())
      await client.query(text, [rowsFor(written[which]!.table, parts[which]!, fresh, at, asked.body.visit)])
    await client.query('commit')
    client.release()
    response.status(201).json({ ok: true })
  })
  return listen(app, '127.0.0.1', 0)
}

/** As long as the visits that are booked: no two of them may overlap. */
const VISIT_MS = 10 * 60_000

function rowsFor(
  table: string,
  parts: readonly string[],
  fresh: ReadonlyMap<string, string>,
  n: number,
  visit: string,
): string {
  const rows = parts.map((part) => fresh.get(part) ?? part).join('')
  if (table === 'slot')
    return rows
      .replace(/"starts_at":"[^"]*"/, `"starts_at":"${visit}"`)
      .replace(/"ends_at":"[^"]*"/, `"ends_at":"${new Date(Date.parse(visit) + VISIT_MS).toISOString()}"`)
      .replace('"clinician":""', '"clinician":"bare"')
  return table === 'audit' ? rows.replace(/"seq":\d+/, `"seq":${1_000_000_000 + n}`) : rows
}
