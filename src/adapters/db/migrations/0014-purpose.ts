import { sql, type Kysely } from 'kysely'

/** Why a patient comes and by when, and what the patient needs there. `due_by` is a calendar date as text, as told. */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`alter table booking
    add column purpose text not null default 'routine',
    add column due_by text,
    add column sealed_needs text`.execute(db)
}
