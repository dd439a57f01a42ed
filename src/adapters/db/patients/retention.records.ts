import { sql } from 'kysely'
import type { RetentionRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import type { AccessDb } from '../access/access.tables.ts'

/** Rows whose sealed part is written anew at once; between the parts others get their turn. */
const BATCH = 200

interface SealedRow {
  id: string
  sealed: string
}

type Rewrite = (plain: Record<string, unknown>) => Record<string, unknown>

export function retentionRecords(db: AccessDb, vault: Vault): RetentionRecords {
  const rewrite = (table: string, rows: SealedRow[], change: Rewrite) => rewriteSealed(db, vault, table, rows, change)
  return {
    lastRun: async () => {
      const row = await db.selectFrom('retention_run').selectAll().orderBy('id', 'desc').limit(1).executeTakeFirst()
      return row && { at: row.at, counts: JSON.parse(row.counts) as Record<string, number> }
    },
    runs: async (limit) => {
      const rows = await db.selectFrom('retention_run').selectAll().orderBy('id', 'desc').limit(limit).execute()
      return rows.map(({ at, counts }) => ({ at, counts: JSON.parse(counts) as Record<string, number> }))
    },
    noteRun: async (at, counts) => {
      await db.insertInto('retention_run').values({ at, counts: JSON.stringify(counts) }).execute()
    },
    clearCycles: async (from, to, afterId) => {
      const { rows } = await sql<SealedRow>`
        select p.id, p.sealed from patient p where p.id > ${afterId} and
          (select max(visit_at) from booking where patient_id = p.id) between ${from} and ${to}
        order by p.id limit ${BATCH} for update`.execute(db)
      await rewrite('patient', rows, (plain) => ({ ...plain, cycle: { status: 'unknown' } }))
      if (rows.length > 0) await db.updateTable('booking').set({ sealed_lapses: null }).where('patient_id', 'in', rows.map(({ id }) => id)).where('visit_at', '<=', to).execute()
      return last(rows)
    },
    clearReadings: async (from, to, afterId) => {
      const rows = await db.selectFrom('reply').select(['id', 'sealed']).where('id', '>', afterId).where('received_at', '>', from).where('received_at', '<=', to).orderBy('id').limit(BATCH).forUpdate().execute()
      await rewrite('reply', rows, ({ phone, text }) => ({ phone, text, reading: null }))
      return last(rows)
    },
    clearFollowUps: async (from, to, afterId) => {
      const rows = await db.selectFrom('follow_up').select(['id', 'sealed']).where('id', '>', afterId).where('closed_at', '>', from).where('closed_at', '<=', to).orderBy('id').limit(BATCH).forUpdate().execute()
      await rewrite('follow_up', rows, () => ({ phone: null, detail: {} }))
      if (rows.length > 0) await db.updateTable('follow_up').set({ phone_print: null }).where('id', 'in', rows.map(({ id }) => id)).execute()
      return last(rows)
    },
    clearMessages: async (from, to, afterId) => {
      const rows = await db.selectFrom('message').select(['id', 'sealed']).where('id', '>', afterId).where('send_at', '>', from).where('send_at', '<=', to).orderBy('id').limit(BATCH).forUpdate().execute()
      await rewrite('message', rows, (plain) => ({ ...plain, phone: '', choices: [], answer: null, text: null }))
      return last(rows)
    },
    removeReplies: async (before) => Number((await db.deleteFrom('reply').where('received_at', '<=', before).executeTakeFirst()).numDeletedRows),
    removeKeptAnswers: async (before) => Number((await db.deleteFrom('idempotency').where('at', '<=', before).executeTakeFirst()).numDeletedRows),
    removeEarlyReceipts: async (before) => Number((await db.deleteFrom('early_receipt').where('at', '<=', before).executeTakeFirst()).numDeletedRows),
  }
}

const last = (rows: SealedRow[]) => ({ count: rows.length, next: rows.length < BATCH ? null : rows.at(-1)!.id })

async function rewriteSealed(db: AccessDb, vault: Vault, table: string, rows: SealedRow[], change: Rewrite): Promise<void> {
  for (const { id, sealed } of rows) {
    const plain = JSON.parse(vault.open(sealed)) as Record<string, unknown>
    await sql`update ${sql.table(table)} set sealed = ${vault.seal(JSON.stringify(change(plain)))} where id = ${id}`.execute(db)
  }
}
