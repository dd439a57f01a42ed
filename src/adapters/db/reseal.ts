import { Failure } from '../../domain/failure.ts'
import type { Vault } from '../vault/vault.ts'
import { SCHEMA, type Database } from './pool.ts'

const BATCH = 200

interface SealedColumn {
  table: string
  column: string
  /** The table's primary key: one text column wherever something is sealed. */
  key: string
}

/** Every sealed column there is, from the database's own catalogue, so that none is forgotten. */
async function sealedColumns({ records }: Database): Promise<SealedColumn[]> {
  const { rows } = await records.query(
    `select c.table_name as "table", c.column_name as "column", k.column_name as "key"
     from information_schema.columns c
     join information_schema.table_constraints t on t.table_schema = c.table_schema and t.table_name = c.table_name and t.constraint_type = 'PRIMARY KEY'
     join information_schema.key_column_usage k on k.table_schema = t.table_schema and k.constraint_name = t.constraint_name
     where c.table_schema = $1 and c.column_name like 'sealed%' order by 1, 2`,
    [SCHEMA],
  )
  return rows as unknown as SealedColumn[]
}

/**
 * Seals everything anew that another key than the present one has sealed, a few rows at a time, while the service runs.
 * A row that changes meanwhile is left to whoever changed it: that sealed it with the new key, or the next pass finds
 * it.
 * @returns how many values were sealed anew
 */
export async function resealAll(database: Database, vault: Vault): Promise<number> {
  let total = 0
  for (const column of await sealedColumns(database)) total += await resealColumn(database, vault, column)
  return total
}

async function resealColumn(
  { records }: Database,
  vault: Vault,
  { table, column, key }: SealedColumn,
): Promise<number> {
  const from = `${SCHEMA}.${table}`
  let after = ''
  let count = 0
  for (;;) {
    const { rows } = await records.query(
      `select ${key} as id, ${column} as sealed from ${from} where ${key} > $1 and ${column} is not null and split_part(${column}, '.', 1) <> $2 order by ${key} limit ${BATCH}`,
      [after, vault.sealsWith()],
    )
    for (const { id, sealed } of rows as { id: string; sealed: string }[]) {
      const { rowCount } = await records.query(
        `update ${from} set ${column} = $1 where ${key} = $2 and ${column} = $3`,
        [vault.seal(vault.open(sealed)), id, sealed],
      )
      count += rowCount
    }
    if (rows.length < BATCH) return count
    after = String(rows.at(-1)!.id)
  }
}

/** How many values each key has sealed. A key that has sealed none may be taken off the list, but for the oldest. */
export async function countByKey(database: Database): Promise<Record<string, number>> {
  const counts: Record<string, number> = {}
  for (const { table, column } of await sealedColumns(database)) {
    const { rows } = await database.records.query(
      `select split_part(${column}, '.', 1) as id, count(*) as n from ${SCHEMA}.${table} where ${column} is not null group by 1`,
    )
    for (const { id, n } of rows) counts[String(id)] = (counts[String(id)] ?? 0) + Number(n)
  }
  return counts
}

/** Whether anything was ever sealed in this database. */
export async function hasSealedData({ records }: Database): Promise<boolean> {
  const { rows } = await records.query(`select to_regclass('${SCHEMA}.key_check') is not null as known`)
  if (rows[0]!.known !== true) return false
  return (await records.query(`select 1 from ${SCHEMA}.key_check`)).rows.length > 0
}

/**
 * Makes sure that the look-up key is the one the data were kept with. With another one every patient would seem
 * unknown, and no STOP would be found. @throws bad-config
 */
export async function checkLookUpKey({ records }: Database, vault: Vault): Promise<void> {
  const print = vault.fingerprint('look-up key check')
  await records.query(`insert into ${SCHEMA}.key_check (print) values ($1) on conflict do nothing`, [print])
  const { rows } = await records.query(`select print from ${SCHEMA}.key_check`)
  if (rows[0]!.print === print) return
  throw new Failure('bad-config', {
    field: 'DAYSIX_KEY',
    message:
      'These data were kept with another key. Put the key they were first kept with at the beginning of the list.',
  })
}
