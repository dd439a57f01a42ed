import { sql, type OnConflictBuilder } from 'kysely'
import { Failure } from '../../../domain/failure.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { findableBy } from '../../../domain/patients/search-words.ts'
import type { OptOut, OptOutRecords, PatientRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import { LOCK_NUMBER } from '../number-lock.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { PatientTable, Tables } from '../tables.ts'
import type { Db } from '../connections.ts'
import { consentRecords } from './consent.records.ts'

/** Whether somebody hears, and who receives, is told in confidence as well. */
type Sealed = Omit<Patient, 'id' | 'clinicId' | 'language' | 'channel' | 'detail'>

const COLUMNS = ['id', 'clinic_id', 'language', 'channel', 'detail', 'sealed'] as const
type PatientRow = Pick<PatientTable, (typeof COLUMNS)[number]>

const BY_IDS = prepared<PatientRow>(`select ${COLUMNS.join()} from patient where id = any($1)`)
const LOCKED = prepared<PatientRow>(`select ${COLUMNS.join()} from patient where id = $1 for no key update`)
const LOCK = prepared('select id from patient where id = any($1) order by id for no key update')
const LOCK_AT = prepared<PatientRow>(`select ${COLUMNS.join()} from patient
  where phone_print = $1 and clinic_id = $2 order by id for no key update`)
const BY_PHONE = prepared<PatientRow>(`select ${COLUMNS.join()} from patient where phone_print = $1 order by id`)
const INSERT = insertInto('patient', [
  'id',
  'clinic_id',
  'language',
  'channel',
  'detail',
  'phone_print',
  'words',
  'sealed',
])
const OPT_OUT = prepared<OptOut>('select at, reason from opt_out where phone_print = $1')

/** 96 bits tell the words of all names apart. */
const PRINT_LENGTH = 16

const printOf = (word: string, vault: Vault) => vault.fingerprint(`word ${word}`).slice(0, PRINT_LENGTH)

/** In no order of meaning: it must not tell which hash is of the last name. */
const wordsOf = (patient: Patient, vault: Vault) =>
  findableBy(patient)
    .map((word) => printOf(word, vault))
    .sort()

const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'patient')
const unreadable = (): Sealed => ({ name: UNREADABLE, phone: '', cycle: { status: 'unknown' }, isUnreadable: true })

/** @throws changed for a record that cannot be read: what is sealed in it would be lost */
function toRow(patient: Patient, vault: Vault): PatientTable {
  if (patient.isUnreadable)
    throw new Failure('changed', {
      message: 'This record was altered in the database and cannot be read. Ask whoever runs the server to restore it.',
      ids: { patient: patient.id },
    })
  const { id, clinicId, language, channel, detail, ...sealed } = patient
  const prints = { phone_print: vault.fingerprint(patient.phone), words: wordsOf(patient, vault) }
  return { id, clinic_id: clinicId, language, channel, detail, ...prints, sealed: fieldOf(vault).seal(sealed, id) }
}

function toPatient(row: PatientRow, vault: Vault): Patient {
  const { id, clinic_id: clinicId, language, channel, detail } = row
  return { id, clinicId, language, channel, detail, ...fieldOf(vault).open(row.sealed, [id], unreadable) }
}

export function patientRecords(db: Db, vault: Vault): PatientRecords {
  const lockNumber = async (phone: string) => void (await db.rows(LOCK_NUMBER, [vault.fingerprint(phone)]))
  return {
    get: async (id) => {
      const row = await db.selectFrom('patient').select(COLUMNS).where('id', '=', id).executeTakeFirst()
      return row && toPatient(row, vault)
    },
    many: async (ids) => {
      if (ids.length === 0) return []
      return (await db.rows(BY_IDS, [ids])).map((row) => toPatient(row, vault))
    },
    byPhone: async (phone) => {
      const rows = await db.rows(BY_PHONE, [vault.fingerprint(phone)])
      return rows.map((row) => toPatient(row, vault))
    },
    lockNumber,
    lock: async (ids) => void (await db.rows(LOCK, [ids])),
    lockAt: async (phone, clinicId) => {
      const [, rows] = await Promise.all([lockNumber(phone), db.rows(LOCK_AT, [vault.fingerprint(phone), clinicId])])
      return rows.map((row) => toPatient(row, vault))
    },
    insert: (patient) => db.insert(INSERT, [toRow(patient, vault)]),
    update: async (id, facts) => {
      const [row] = await db.rows(LOCKED, [id])
      const known = toPatient(orNotFound(row, 'patient'), vault)
      const patient = { ...known, ...facts, id, clinicId: known.clinicId }
      const { id: same, ...changes } = toRow(patient, vault)
      await db.updateTable('patient').set(changes).where('id', '=', same).execute()
      return patient
    },
    search: async (words, clinicId, limit) => {
      if (words.length === 0) return []
      const prints = words.map((word) => printOf(word, vault))
      const { rows } = await sql<{ id: string }>`select id from patient
        where words @> ${prints}::text[] and clinic_id = ${clinicId} order by id desc limit ${limit}`.execute(db)
      return rows.map(({ id }) => id)
    },
    ...consentRecords(db, vault),
  }
}

const BATCH = 500

/** Makes patients findable who were kept before names could be looked for. Does nothing once it has been done. */
export async function indexOlderPatients(db: Db, vault: Vault): Promise<void> {
  const records = patientRecords(db, vault)
  const without = db.selectFrom('patient').select('id').where('words', 'is', null).orderBy('id').limit(BATCH)
  for (let rows = await without.execute(); rows.length > 0; rows = await without.execute()) {
    for (const patient of await records.many(rows.map(({ id }) => id))) {
      const words = wordsOf(patient, vault)
      await db.updateTable('patient').set({ words }).where('id', '=', patient.id).execute()
    }
  }
}

export function optOutRecords(db: Db, vault: Vault): OptOutRecords {
  const optOutOf = async (phone: string) => (await db.rows(OPT_OUT, [vault.fingerprint(phone)]))[0]
  return {
    has: async (phone) => (await optOutOf(phone)) !== undefined,
    get: optOutOf,
    add: async (phone, reason, at) => {
      // After this, whatever is claimed for the number knows of it; what was claimed before is already on its way.
      await db.rows(LOCK_NUMBER, [vault.fingerprint(phone)])
      const row = { phone_print: vault.fingerprint(phone), reason, at }
      const upgrade = sql<boolean>`excluded.reason = 'wrong-person'`
      const known = (on: OnConflictBuilder<Tables, 'opt_out'>) =>
        on.column('phone_print').doUpdateSet({ reason }).where(upgrade)
      await db.insertInto('opt_out').values(row).onConflict(known).execute()
    },
    count: async () =>
      Number(
        (
          await db
            .selectFrom('opt_out')
            .select((eb) => eb.fn.countAll().as('count'))
            .executeTakeFirstOrThrow()
        ).count,
      ),
    remove: async (phone) => {
      await db.deleteFrom('opt_out').where('phone_print', '=', vault.fingerprint(phone)).execute()
    },
  }
}
