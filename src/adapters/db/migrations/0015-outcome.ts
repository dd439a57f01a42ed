import { sql, type Kysely } from 'kysely'

/** How a visit ended: collected or not, why, when it was recorded and by whom. */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`alter table booking
    add column outcome text,
    add column outcome_because text,
    add column outcome_at timestamptz,
    add column outcome_by text`.execute(db)
}
