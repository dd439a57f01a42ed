import { sql, type Kysely } from 'kysely'

/**
 * Up to which instant each kind of data has been cleared. Runs before this did not say: with what setting they cleared
 * is not known any more, so that nothing counts as cleared, and the next run looks through everything once.
 *
 * Each entry of the audit record that is cleared takes along whom it was about, found by its number.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table retention_mark (
    what text primary key,
    cleared_to timestamptz not null
  )`,
  'create index audit_subject_seq on audit_subject (seq)',
]
