import { sql, type Kysely } from 'kysely'

/**
 * What a patient can be found by stands in her own row. In a table of its own it was most of the rows and of the
 * foreign keys that a booking writes, and two index entries each.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'alter table patient add column words text[]',
  `update patient set words = found.prints
    from (select patient_id, array_agg(left(print, 16)) as prints from patient_word group by patient_id) found
    where found.patient_id = patient.id`,
  'drop table patient_word',
  // New words wait in a list that every search reads: short, so that neither a search nor its clearing is felt.
  'create index patient_words on patient using gin (words) with (gin_pending_list_limit = 512)',
  // Empty in the end: who has none was kept before names could be looked for.
  'create index patient_wordless on patient (id) where words is null',
]
