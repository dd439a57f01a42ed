import { Failure } from '../../domain/failure.ts'
import { SCHEMA, type Database, type PoolClient } from './pool.ts'

/** Rows carried over at a time. */
const BATCH = 500
/** Belong to one database and mean nothing in another. */
const STAYS = new Set(['worker', 'kysely_migration', 'kysely_migration_lock', 'schema_floor'])
/** Given a first row by the migrations or by a first start, which is no data: the source's rows replace it. */
const SEEDED = new Set(['audit_head', 'key_check'])

export interface Moved {
  table: string
  rows: number
}

/**
 * Copies every row from one database into another whose tables are up to date and empty, in one transaction, and
 * compares both sides before it is committed. Jobs of the queue are not copied: they are set again from the messages.
 *
 * @param beforeCommit done when everything is there and equal, just before it counts.
 * @throws bad-config when the target holds data already.
 */
export async function moveIn(from: Database, to: Database, beforeCommit: () => Promise<void>): Promise<Moved[]> {
  const source = await from.records.connect()
  const target = await to.records.connect()
  try {
    await source.query('begin')
    await target.query('begin')
    const moved: Moved[] = []
    const tables = await inOrder(source)
    for (const table of tables) await refuseFull(target, table)
    for (const table of tables) moved.push({ table, rows: await copy(source, target, table) })
    await beforeCommit()
    await target.query('commit')
    return moved
  } catch (error) {
    await target.query('rollback').catch(() => {})
    throw error
  } finally {
    await source.query('rollback').catch(() => {})
    source.release()
    target.release()
  }
}

async function refuseFull(target: PoolClient, table: string): Promise<void> {
  if (SEEDED.has(table)) return void (await target.query(`delete from ${SCHEMA}.${table}`))
  const { rows } = await target.query(`select 1 as one from ${SCHEMA}.${table} limit 1`)
  if (rows.length > 0) {
    throw new Failure('bad-config', {
      field: 'DATABASE_URL',
      message: `The PostgreSQL database is not empty (table ${table}). Move into one that has not been used yet.`,
    })
  }
}

/** Tables with those that they refer to before them. */
async function inOrder(client: PoolClient): Promise<string[]> {
  const { rows: tables } = await client.query(
    `select relname as name from pg_class where relnamespace = '${SCHEMA}'::regnamespace and relkind = 'r'`,
  )
  const { rows: links } = await client.query(
    `select a.relname as child, b.relname as parent from pg_constraint join pg_class a on a.oid = conrelid join pg_class b on b.oid = confrelid
     where contype = 'f' and a.relnamespace = '${SCHEMA}'::regnamespace and conrelid <> confrelid`,
  )
  const waiting = new Set(tables.map(({ name }) => name as string).filter((name) => !STAYS.has(name)))
  const ordered: string[] = []
  while (waiting.size > 0) {
    const next = [...waiting]
      .filter((name) => !links.some(({ child, parent }) => child === name && waiting.has(parent as string)))
      .sort()
    if (next.length === 0) throw new Error('tables refer to each other in a circle')
    for (const name of next) waiting.delete(name)
    ordered.push(...next)
  }
  return ordered
}

async function copy(source: PoolClient, target: PoolClient, table: string): Promise<number> {
  const own = await columnToItself(source, table)
  await source.query(
    `declare rows_of_${table} no scroll cursor for select to_jsonb(t)::text as row from ${SCHEMA}.${table} t ${own ? `order by ${own} nulls first` : ''}`,
  )
  let count = 0
  for (;;) {
    const { rows } = await source.query(`fetch ${BATCH} from rows_of_${table}`)
    if (rows.length === 0) break
    const batch = `[${rows.map(({ row }) => row as string).join(',')}]`
    // Numbers given by the database itself are kept as they are.
    await target.query(
      `insert into ${SCHEMA}.${table} overriding system value select * from jsonb_populate_recordset(null::${SCHEMA}.${table}, $1::jsonb)`,
      [batch],
    )
    count += rows.length
  }
  await source.query(`close rows_of_${table}`)
  await continueNumbers(target, table)
  const [before, after] = [await digest(source, table), await digest(target, table)]
  if (before !== after) throw new Error(`table ${table} is not the same on both sides`)
  return count
}

/** A column that refers to the table itself: whatever is referred to must be there first. */
async function columnToItself(client: PoolClient, table: string): Promise<string | undefined> {
  const { rows } = await client.query(
    `select attname as name from pg_constraint join pg_attribute on attrelid = conrelid and attnum = conkey[1]
     where contype = 'f' and conrelid = confrelid and conrelid = '${SCHEMA}.${table}'::regclass`,
  )
  return rows[0]?.name as string | undefined
}

async function continueNumbers(target: PoolClient, table: string): Promise<void> {
  const { rows } = await target.query(
    `select attname as name from pg_attribute where attrelid = '${SCHEMA}.${table}'::regclass and attidentity <> ''`,
  )
  for (const { name } of rows) {
    await target.query(
      `select setval(pg_get_serial_sequence('${SCHEMA}.${table}', '${String(name)}'), greatest(1, (select coalesce(max(${String(name)}), 0) from ${SCHEMA}.${table})))`,
    )
  }
}

/** Count and a sum over the hash of every row: the same on both sides, or something was lost or changed. */
async function digest(client: PoolClient, table: string): Promise<string> {
  const { rows } = await client.query(
    `select count(*)::text || ' ' || coalesce(sum(('x' || substr(md5(to_jsonb(t)::text), 1, 15))::bit(60)::bigint), 0)::text as digest from ${SCHEMA}.${table} t`,
  )
  return rows[0]!.digest as string
}
