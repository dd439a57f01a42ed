import { sql, type Kysely } from 'kysely'

/**
 * Until when a consent holds, as a calendar date in text, as told; and who gave it: the patient, or whoever reads the
 * messages instead. The index is for consents that have just ended.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `alter table consent
    add column until text,
    add column given_by text not null default 'patient' check (given_by in ('patient', 'receiver'))`,
  'create index consent_until on consent (until) where until is not null and withdrawn_at is null',
]
