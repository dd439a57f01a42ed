import { sql, type Kysely } from 'kysely'

/**
 * Which content of the protocol a visit's plan was made by, so that a changed protocol can be told from an unchanged
 * one.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`alter table booking add column plan_basis text not null default ''`.execute(db)
  await sql`create index booking_basis on booking (protocol, plan_basis) where state = 'booked'`.execute(db)
}
