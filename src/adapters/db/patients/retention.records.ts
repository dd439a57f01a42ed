import { isDeepStrictEqual } from 'node:util'
import { sql } from 'kysely'
import type { Part, RetentionRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import { feedRetention } from '../schedule/feed-retention.ts'
import { SEALED_FIELDS, sealedField } from '../sealed-field.ts'
import type { AccessDb } from '../connections.ts'

/** Rows whose sealed part is written anew at once; between the parts others get their turn. */
const BATCH = 200

interface SealedRow {
  id: string
  sealed: string
}

/** Fields that are cleared in part. */
type Rewritten = 'patient' | 'reply' | 'follow-up' | 'message'
type Rewrite = (plain: Record<string, unknown>) => Record<string, unknown>

export function retentionRecords(db: AccessDb, vault: Vault): RetentionRecords {
  const rewrite = (name: Rewritten, rows: SealedRow[], change: Rewrite) => rewriteSealed(db, vault, name, rows, change)
  return {
    runs: async (limit) => {
      const rows = await db.selectFrom('retention_run').selectAll().orderBy('id', 'desc').limit(limit).execute()
      return rows.map(({ at, counts }) => ({ at, counts: JSON.parse(counts) as Record<string, number> }))
    },
    clearedTo: async () => {
      const rows = await db.selectFrom('retention_mark').selectAll().execute()
      return new Map(rows.map(({ what, cleared_to: clearedTo }) => [what, clearedTo]))
    },
    noteRun: async (at, counts, clearedTo) => {
      await db
        .insertInto('retention_run')
        .values({ at, counts: JSON.stringify(counts) })
        .execute()
      for (const [what, instant] of clearedTo)
        await sql`insert into retention_mark (what, cleared_to) values (${what}, ${instant})
          on conflict (what) do update set
            cleared_to = greatest(retention_mark.cleared_to, excluded.cleared_to)`.execute(db)
    },
    clearCycles: async (from, to, afterId) => {
      const rows = await lockPatients(db, from, to, afterId)
      const over = await withoutLaterVisit(db, rows, to)
      const changed = await rewrite('patient', over, (plain) => ({ ...plain, cycle: { status: 'unknown' } }))
      const ids = over.map(({ id }) => id)
      return part(rows, [...changed, ...(await clearSaid(db, ids, to))])
    },
    clearReadings: async (from, to, afterId) => {
      const rows = await db
        .selectFrom('reply')
        .select(['id', 'sealed'])
        .where('id', '>', afterId)
        .where('received_at', '>', from)
        .where('received_at', '<=', to)
        .orderBy('id')
        .limit(BATCH)
        .forUpdate()
        .execute()
      return part(rows, await rewrite('reply', rows, ({ phone, text }) => ({ phone, text, reading: null })))
    },
    clearFollowUps: async (from, to, afterId) => {
      const rows = await db
        .selectFrom('follow_up')
        .select(['id', 'sealed'])
        .where('id', '>', afterId)
        .where('closed_at', '>', from)
        .where('closed_at', '<=', to)
        .orderBy('id')
        .limit(BATCH)
        .forUpdate()
        .execute()
      const changed = await rewrite('follow-up', rows, () => ({ phone: null, detail: {} }))
      if (rows.length > 0)
        await db
          .updateTable('follow_up')
          .set({ phone_print: null })
          .where(
            'id',
            'in',
            rows.map(({ id }) => id),
          )
          .execute()
      return part(rows, changed)
    },
    clearMessages: async (from, to, afterId) => {
      const rows = await db
        .selectFrom('message')
        .select(['id', 'sealed'])
        .where('id', '>', afterId)
        .where('send_at', '>', from)
        .where('send_at', '<=', to)
        .orderBy('id')
        .limit(BATCH)
        .forUpdate()
        .execute()
      const emptied = { phone: '', choices: [], answer: null, text: null }
      return part(rows, await rewrite('message', rows, (plain) => ({ ...plain, ...emptied })))
    },
    removeReplies: (before) => removeReplies(db, before),
    removeSignsOfLife: async (before) =>
      Number((await db.deleteFrom('sign_of_life').where('seen_at', '<=', before).executeTakeFirst()).numDeletedRows),
    removeEarlyReceipts: async (before) =>
      Number((await db.deleteFrom('early_receipt').where('at', '<=', before).executeTakeFirst()).numDeletedRows),
    removeSentParts: async (before) =>
      Number((await db.deleteFrom('sent_part').where('at', '<=', before).executeTakeFirst()).numDeletedRows),
    ...feedRetention(db),
  }
}

/** That somebody wrote from a number, and when last, stays: else the number would seem silent. */
async function removeReplies(db: AccessDb, before: Date): Promise<number> {
  await db.deleteFrom('long_reply').where('came_at', '<=', before).execute()
  const { rows } = await sql<{ count: number }>`
    with gone as (delete from reply where received_at <= ${before} returning phone_print, clinic_id, received_at),
    kept as (insert into sign_of_life (phone_print, clinic_id, seen_at)
      select phone_print, clinic_id, max(received_at) from gone where clinic_id is not null group by 1, 2
      on conflict (phone_print, clinic_id) do update
        set seen_at = greatest(sign_of_life.seen_at, excluded.seen_at))
    select count(*)::integer as count from gone`.execute(db)
  return rows[0]!.count
}

/**
 * Patients whose last visit lies in the interval, a batch of them; or before it, where something was said of a visit
 * after it had been cleared.
 */
async function lockPatients(db: AccessDb, from: Date, to: Date, afterId: string): Promise<SealedRow[]> {
  const { rows } = await sql<SealedRow>`
    select p.id, p.sealed from patient p where p.id > ${afterId} and ${lastVisit} <= ${to}
      and (${lastVisit} > ${from} or exists (select from booking where patient_id = p.id and ${isSaid}))
    order by p.id limit ${BATCH} for update`.execute(db)
  return rows
}

const lastVisit = sql`(select max(visit_at) from booking where patient_id = p.id)`

/** Something is known of how it was prepared for or ended. */
const isSaid = sql`(sealed_lapses is not null or sealed_needs is not null or outcome_because is not null or sealed_outcome is not null)`

/**
 * A visit may have been booked while these patients were waited for. Whoever books locks the patient first, so that
 * what is asked now stays true.
 */
async function withoutLaterVisit(db: AccessDb, rows: SealedRow[], to: Date): Promise<SealedRow[]> {
  const { rows: still } = await sql<{ id: string }>`select p.id from patient p
    where p.id = any(${rows.map(({ id }) => id)}::text[]) and ${lastVisit} <= ${to}`.execute(db)
  const ids = new Set(still.map(({ id }) => id))
  return rows.filter(({ id }) => ids.has(id))
}

/** What was said of preparation. @returns the patients of whom anything was known */
async function clearSaid(db: AccessDb, patientIds: string[], to: Date): Promise<string[]> {
  const { rows } = await sql<{ patient_id: string }>`update booking
    set sealed_lapses = null, sealed_needs = null, outcome_because = null, sealed_outcome = null
    where patient_id = any(${patientIds}::text[]) and visit_at <= ${to}
      and ${isSaid}
    returning patient_id`.execute(db)
  return rows.map((row) => row.patient_id)
}

/** @param changed ids, one more than once where more than one thing of it changed */
const part = (rows: SealedRow[], changed: string[]): Part => ({
  count: new Set(changed).size,
  next: rows.length < BATCH ? null : rows.at(-1)!.id,
})

/** What is cleared already stays as it is. @returns the ids of the rows that changed */
async function rewriteSealed(
  db: AccessDb,
  vault: Vault,
  name: Rewritten,
  rows: SealedRow[],
  change: Rewrite,
): Promise<string[]> {
  const field = sealedField<Record<string, unknown>>(vault, name)
  const { table } = SEALED_FIELDS[name]
  const changed: string[] = []
  for (const { id, sealed } of rows) {
    // What cannot be read any more is cleared all the same.
    const plain = field.open(sealed, [id], () => ({}))
    const cleared = change(plain)
    if (isDeepStrictEqual(cleared, plain)) continue
    await sql`update ${sql.table(table)} set sealed = ${field.seal(cleared, id)} where id =
      ${id}`.execute(db)
    changed.push(id)
  }
  return changed
}
