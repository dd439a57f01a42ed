import type { Patient } from '../../../domain/booking.ts'
import { findableBy } from '../../../domain/people/search-words.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertRows } from '../ready-made.ts'
import type { Db } from '../tables.ts'

const printOf = (word: string, vault: Vault) => vault.fingerprint(`word ${word}`)

/** Writes down what a patient can be found by. */
export async function addWords(db: Db, vault: Vault, patient: Patient): Promise<void> {
  const rows = findableBy(patient).map((word) => ({ print: printOf(word, vault), patient_id: patient.id }))
  await insertRows(db, 'patient_word', rows, { orNothing: true })
}

/** As `addWords`, and earlier spellings no longer find her. */
export async function keepWords(db: Db, vault: Vault, patient: Patient): Promise<void> {
  const prints = findableBy(patient).map((word) => printOf(word, vault))
  await db.deleteFrom('patient_word').where('patient_id', '=', patient.id).where('print', 'not in', prints).execute()
  await addWords(db, vault, patient)
}

/** Ids of the patients that match every word. */
export async function matching(db: Db, vault: Vault, words: readonly string[], limit: number): Promise<string[]> {
  if (words.length === 0) return []
  const prints = words.map((word) => printOf(word, vault))
  const rows = await db
    .selectFrom('patient_word')
    .select('patient_id')
    .where('print', 'in', prints)
    .groupBy('patient_id')
    .having((eb) => eb.fn.countAll(), '=', prints.length)
    .orderBy('patient_id', 'desc')
    .limit(limit)
    .execute()
  return rows.map(({ patient_id }) => patient_id)
}

/**
 * Patients kept before names could be looked for: their ids, a batch at a time, the newest first. Ids sort by time and
 * newer patients have words from the start, so once the oldest of all has some, everybody has.
 */
export async function withoutWords(db: Db, limit: number): Promise<string[]> {
  const without = db
    .selectFrom('patient')
    .select('patient.id')
    .where((eb) => eb.not(eb.exists(eb.selectFrom('patient_word').select('print').whereRef('patient_id', '=', 'patient.id'))))
  const oldest = db.selectFrom('patient').select('id').orderBy('id').limit(1)
  if ((await without.where('patient.id', '=', oldest).execute()).length === 0) return []
  return (await without.orderBy('patient.id', 'desc').limit(limit).execute()).map(({ id }) => id)
}
