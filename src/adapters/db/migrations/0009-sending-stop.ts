import { sql, type Kysely } from 'kysely'

/**
 * One switch for all sending: of a clinic, by its id, or of everybody, as `region`. Who threw it, and why, is sealed.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`create table sending_stop (scope text primary key, at timestamptz not null, sealed text not null)`.execute(
    db,
  )
}
