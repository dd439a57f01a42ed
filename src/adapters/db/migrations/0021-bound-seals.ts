import { sql, type Kysely } from 'kysely'

/**
 * What tells of bleeding, and who did what, is sealed too; what older versions wrote in the clear stays readable beside
 * it until the running service has sealed it (`reseal.ts`), since a migration has no key. Every value is bound to its
 * row from now on: a database without data begins with `bound` set.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'alter table happening add column sealed text, alter column by drop not null, alter column facts drop not null',
  'alter table consent add column sealed text, alter column recorded_by drop not null, alter column wording drop not null',
  'alter table follow_up add column sealed_end text',
  'alter table booking add column sealed_outcome text',
  // A keyed hash of "all values are bound", once it is so; nobody can write it without the key.
  'alter table key_check add column bound text',
]
