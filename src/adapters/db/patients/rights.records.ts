import { sql, type RawBuilder } from 'kysely'
import type { Held, RightsRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import { reasonCodes } from '../calls/reason-codes.ts'
import { sealedField, sealedIn, UNREADABLE } from '../sealed-field.ts'
import type { AccessDb } from '../connections.ts'

/** Whose records: the patient's visits, and the numbers at which this clinic reached nobody else. */
interface Scope {
  patientId: string
  clinicId: string
  visitIds: string[]
  /** Of the number in use now. */
  phonePrint: string
  /** Of every number that is or was the patient's alone. */
  ownPrints: string[]
}

/** As values, not as a query: beside an "or" the database would compare every row of a table with its answer. */
const ofVisits = ({ visitIds }: Scope) => sql`booking_id = any(${visitIds}::text[])`
/** Found by number only: no telling whose they are where a number is shared. */
const byNumber = ({ clinicId, ownPrints }: Scope) =>
  sql`(clinic_id = ${clinicId} and phone_print = any(${ownPrints}::text[]))`
const replies = (scope: Scope) => sql`patient_id = ${scope.patientId}
  or ${ofVisits(scope)}
  or (patient_id is null and booking_id is null and ${byNumber(scope)})`

/**
 * Parts of long texts that no reply has yet: nobody knows to which clinic they go. Where another patient has the number
 * they stay, for the minutes until they are heard.
 */
const partsBy = ({ patientId, ownPrints }: Scope) => sql`phone_print = any(${ownPrints}::text[])
  and not exists (select from patient other
    where other.phone_print = long_reply.phone_print and other.id <> ${patientId})`
const messages = (scope: Scope) => sql`patient_id = ${scope.patientId} or ${ofVisits(scope)}`

/** Whom a schedule kept elsewhere tells of with these visits. */
const theirIds = (scope: Scope) => sql`select patient_print from feed_visit where ${ofVisits(scope)}`

/**
 * Every table that holds something about a patient, and which of its rows do; children before parents.
 * Both export and erasure follow this list, and a test compares it with the database's own catalogue.
 */
const HELD: Record<string, (scope: Scope) => RawBuilder<unknown>> = {
  follow_up: (scope) => sql`patient_id = ${scope.patientId} or ${ofVisits(scope)}`,
  happening: ofVisits,
  reply: replies,
  sign_of_life: byNumber,
  long_reply: partsBy,
  sent_part: (scope) => sql`message_id in (select id from message where ${messages(scope)})`,
  message: messages,
  feed_alias: (scope) => sql`id in (${theirIds(scope)}) or into_id in (${theirIds(scope)})`,
  feed_patient: (scope) => sql`id in (${theirIds(scope)})`,
  feed_resource: (scope) => sql`visit_id in (select id from feed_visit where ${ofVisits(scope)})`,
  feed_visit: ofVisits,
  feed_telling: ofVisits,
  offer: ofVisits,
  slot: ofVisits,
  consent: (scope) => sql`patient_id = ${scope.patientId}`,
  booking: (scope) => sql`patient_id = ${scope.patientId}`,
  patient: (scope) => sql`id = ${scope.patientId}`,
}

export const HELD_TABLES = Object.keys(HELD)

/**
 * A refusal to be written to is kept as a keyed hash even after erasure, so that it goes on being respected; so is
 * which appointments of a schedule are not to be taken again.
 */
export const KEPT_TABLES = ['opt_out', 'feed_erased']
const HASHES = [
  'phone_print',
  'words',
  'text_print',
  'part_prints',
  'patient_print',
  'series_print',
  'into_id',
  'visit_id',
  'identifier_prints',
]

export function rightsRecords(db: AccessDb, vault: Vault): RightsRecords {
  return {
    held: (patientId) => loadHeld(db, vault, patientId),
    erase: (patientId, now) => erase(db, vault, patientId, now),
  }
}

async function scopeOf(db: AccessDb, patientId: string): Promise<Scope | undefined> {
  const row = await db
    .selectFrom('patient')
    .select(['phone_print', 'clinic_id'])
    .where('id', '=', patientId)
    .forUpdate()
    .executeTakeFirst()
  if (!row) return undefined
  const { phone_print: phonePrint, clinic_id: clinicId } = row
  const ownPrints = await printsOf(db, patientId, clinicId)
  // No visit can be added while the patient is locked.
  const visits = await db.selectFrom('booking').select('id').where('patient_id', '=', patientId).execute()
  return { patientId, clinicId, visitIds: visits.map(({ id }) => id), phonePrint, ownPrints }
}

/** Numbers that are or were the patient's, and nobody else's at the clinic. */
async function printsOf(db: AccessDb, patientId: string, clinicId: string): Promise<string[]> {
  const { rows } = await sql<{ print: string }>`select print from (
      select phone_print from patient where id = ${patientId}
      union select phone_print from message where patient_id = ${patientId}
      union select phone_print from reply where patient_id = ${patientId}
    ) as used (print)
    where not exists (select from patient
        where phone_print = print and clinic_id = ${clinicId} and id <> ${patientId})
      and not exists (select from message
        where phone_print = print and clinic_id = ${clinicId} and patient_id <> ${patientId})`.execute(db)
  return rows.map(({ print }) => print)
}

async function loadHeld(db: AccessDb, vault: Vault, patientId: string): Promise<Held | undefined> {
  const scope = await scopeOf(db, patientId)
  if (!scope) return undefined
  const held: Held = {}
  for (const [table, where] of Object.entries(HELD)) {
    const { rows } = await sql<
      Record<string, unknown>
    >`select * from ${sql.table(table)} where ${where(scope)}`.execute(db)
    held[table] = rows.map((row) => opened(table, row, vault))
  }
  held.opt_out = (
    await db.selectFrom('opt_out').select('at').where('phone_print', '=', scope.phonePrint).execute()
  ).map((row) => ({ ...row }))
  return held
}

/** A row as a person may read it: sealed parts opened, hashes left out. */
function opened(table: string, row: Record<string, unknown>, vault: Vault): Record<string, unknown> {
  const plain = Object.fromEntries(Object.entries(row).filter(([column]) => !isHidden(column)))
  if (table === 'follow_up') plain.reason = reasonCodes(vault).reasonOf(String(row.reason))
  const parts = sealedIn(table).flatMap(([name, { column, key, boundTo = [key] }]) => {
    const sealed = row[column]
    if (typeof sealed !== 'string') return []
    const value = sealedField(vault, name).open(
      sealed,
      boundTo.map((each) => row[each]),
      () => UNREADABLE,
    )
    const isWhole = typeof value === 'object' && value !== null && !Array.isArray(value)
    return [isWhole ? value : { [column.replace('sealed_', '')]: value }]
  })
  const whole = Object.assign(plain, ...parts) as Record<string, unknown>
  return Object.fromEntries(Object.entries(whole).filter(([column, value]) => value !== null || !OLDER.has(column)))
}

/** Columns of older versions, empty once what they held is sealed. */
const OLDER = new Set(['recorded_by', 'wording', 'facts', 'by', 'closed_by', 'outcome_because', 'outcome_by'])

const isHidden = (column: string) => HASHES.includes(column) || column.startsWith('sealed')

async function erase(
  db: AccessDb,
  vault: Vault,
  patientId: string,
  now: Date,
): Promise<Record<string, number> | undefined> {
  const scope = await scopeOf(db, patientId)
  if (!scope) return undefined
  // Visits are locked first, as every flow does that changes one.
  await sql`select id from booking where patient_id = ${patientId} order by id for update`.execute(db)
  await tally(db, scope)
  await sql`delete from slot where overbooked and ${ofVisits(scope)}`.execute(db)
  await sql`update slot set state = 'free', booking_id = null, held_until = null, ends_at = null
    where ${ofVisits(scope)}
    and starts_at > ${now}`.execute(db)
  await sql`insert into feed_erased (id) select id from feed_visit where ${ofVisits(scope)}
    on conflict do nothing`.execute(db)
  await forgetAnswers(db, vault, patientId)
  const counts: Record<string, number> = {}
  for (const [table, where] of Object.entries(HELD)) {
    const { numAffectedRows } = await sql`delete from ${sql.table(table)} where ${where(scope)}`.execute(db)
    counts[table] = Number(numAffectedRows ?? 0)
  }
  return counts
}

/** What stays: how many visits, messages and replies each clinic had in each month. */
async function tally(db: AccessDb, scope: Scope): Promise<void> {
  const month = sql`to_char(b.visit_at at time zone b.zone, 'YYYY-MM')`
  const add = (what: string, rows: RawBuilder<unknown>) =>
    sql`insert into erased_count (month, clinic_id, what, count)
      select ${month}, b.clinic_id, ${what}, count(*)::integer from ${rows} where b.patient_id = ${scope.patientId}
        group by 1, 2
      on conflict (month, clinic_id, what) do update set count = erased_count.count + excluded.count`.execute(db)
  await add('visits', sql`booking b`)
  await add('messages', sql`booking b join message m on m.booking_id = b.id and m.sent_at is not null`)
  await add('replies', sql`booking b join reply r on r.booking_id = b.id`)
}

const ANSWERS_AT_ONCE = 200

/** Answers kept for repeated requests repeat the name; there are few, see `KEYS_KEPT_DAYS`. */
async function forgetAnswers(db: AccessDb, vault: Vault, patientId: string): Promise<void> {
  const answers = sealedField<unknown>(vault, 'answer')
  // What cannot be read goes too.
  const isAbout = (answer: unknown) => JSON.stringify(answer).includes(patientId)
  const keysOf = async (keys: { key: string; sealed: string }[]) =>
    keys.filter(({ key, sealed }) => isAbout(answers.open(sealed, [key], () => patientId))).map(({ key }) => key)
  let after = ''
  for (;;) {
    const page = await db
      .selectFrom('idempotency')
      .select(['key', 'sealed'])
      .where('key', '>', after)
      .orderBy('key')
      .limit(ANSWERS_AT_ONCE)
      .execute()
    const keys = await keysOf(page)
    if (keys.length > 0) await db.deleteFrom('idempotency').where('key', 'in', keys).execute()
    if (page.length < ANSWERS_AT_ONCE) return
    after = page.at(-1)!.key
  }
}
