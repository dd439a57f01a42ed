import { SCHEMA, type PoolClient } from '../db/pool.ts'

/** What comes and goes while nobody does anything. */
const NOT_COUNTED = new Set(['kysely_migration_lock', 'worker', 'backup_run'])

export interface Inside {
  rows: Record<string, number>
  migrations: string[]
  keyPrint: string | null
}

/** What is in a database, in the transaction of this client. */
export async function inside(client: Pick<PoolClient, 'query'>): Promise<Inside> {
  const { rows: tables } = await client.query(
    `select relname as name from pg_class where relnamespace = '${SCHEMA}'::regnamespace and relkind = 'r' order by 1`,
  )
  const rows: Record<string, number> = {}
  for (const { name } of tables) {
    if (NOT_COUNTED.has(String(name))) continue
    const { rows: counted } = await client.query(`select count(*)::int as n from ${SCHEMA}."${String(name)}"`)
    rows[String(name)] = Number(counted[0]!.n)
  }
  const { rows: made } = await client.query(`select name from ${SCHEMA}.kysely_migration order by name`)
  const { rows: prints } = await client.query(`select print from ${SCHEMA}.key_check`)
  const print = prints[0]?.print
  return { rows, migrations: made.map(({ name }) => String(name)), keyPrint: typeof print === 'string' ? print : null }
}
