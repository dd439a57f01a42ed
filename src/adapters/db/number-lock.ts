import { sql, type RawBuilder } from 'kysely'
import { rowsOf } from './prepared-statements.ts'
import type { Db } from './tables.ts'

/** Until the transaction ends nobody else decides about these numbers. In one order for everybody, so that nobody waits in a circle. */
export async function lockNumbers(db: Db, prints: RawBuilder<unknown>): Promise<void> {
  await sql`select pg_advisory_xact_lock(key) from (
    select distinct hashtextextended(print, 0) as key from (${prints}) as numbers (print) order by key offset 0
  ) as ordered`.execute(db)
}

/** As `lockNumbers`, of one number: a booking asks for it, so its text is made once. */
export async function lockNumber(db: Db, print: string): Promise<void> {
  await rowsOf(db, 'select pg_advisory_xact_lock(hashtextextended($1, 0))', [print])
}
