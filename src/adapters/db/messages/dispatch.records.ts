import { sql } from 'kysely'
import { UNSENT } from '../../../domain/messages/message.ts'
import type { DispatchRecords, SendJob } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db, MessageTable } from '../tables.ts'
import { byId } from './dispatch-context.ts'
import { dispatchFigures } from './dispatch-figures.ts'
import { dueRecords, IS_STOPPED } from './due.records.ts'
import { toMessage } from './message.records.ts'

const JOB = ['id', 'revision', 'attempt', 'send_at'] as const
const toJob = (row: Pick<MessageTable, (typeof JOB)[number]>): SendJob => ({
  messageId: row.id,
  revision: row.revision,
  attempt: row.attempt,
  at: row.send_at,
})

const isStopped = sql.raw<boolean>(IS_STOPPED)

export function dispatchRecords(db: Db, vault: Vault): DispatchRecords {
  return {
    ...jobRecords(db),
    ...dueRecords(db, vault),
    ...leftBehindRecords(db, vault),
    ...unsentRecords(db, vault),
    figures: (now) => dispatchFigures(db, now),
  }
}

/** Jobs to be enqueued, for the first time or again. */
function jobRecords(db: Db): Pick<DispatchRecords, 'enqueueDue' | 'overdue'> {
  return {
    enqueueDue: async (until, limit) => {
      const waiting = db.selectFrom('message').select('id').where('state', '=', 'planned').where('send_at', '<', until)
      const next = waiting.orderBy('send_at').orderBy('id').limit(limit).forUpdate().skipLocked()
      // As an array, found first: so that the planner cannot think of reading the whole table.
      const rows = await db.updateTable('message').set({ state: 'queued' }).where('id', '=', sql<string>`any(array(${next}))`).returning(JOB).execute()
      return rows.map(toJob)
    },
    overdue: async (before, limit) => {
      const query = db.selectFrom('message').select(JOB).where('state', '=', 'queued').where('send_at', '<', before).where(({ not }) => not(isStopped))
      return (await query.orderBy('send_at').limit(limit).execute()).map(toJob)
    },
  }
}

const all = (db: Db) => db.selectFrom('message').selectAll()

async function many(vault: Vault, query: { execute(): Promise<MessageTable[]> }) {
  return (await query.execute()).map((row) => toMessage(row, vault))
}

/** What waits though it should not. */
function unsentRecords(db: Db, vault: Vault): Pick<DispatchRecords, 'dueIn' | 'worthless'> {
  const unsent = () => all(db).where('state', 'in', [...UNSENT])
  return {
    dueIn: (clinicId, now, limit) => {
      const due = unsent().where('send_at', '<=', now)
      const there = clinicId === null ? due : due.where('clinic_id', '=', clinicId)
      return many(vault, there.orderBy('send_at').limit(limit))
    },
    worthless: (now, limit) => many(vault, unsent().where('not_after', '<=', now).orderBy('not_after').limit(limit)),
  }
}

type LeftBehind = 'stuck' | 'claimedBy' | 'undelivered' | 'crossedReceipts'

/** What was claimed or sent, and of which nothing more was heard. */
function leftBehindRecords(db: Db, vault: Vault): Pick<DispatchRecords, LeftBehind> {
  const claimed = () => all(db).where('state', '=', 'sending')
  const alive = db.selectFrom('worker').select('worker.id').whereRef('worker.id', '=', sql.ref('message.claimed_by'))
  return {
    stuck: (limit) => many(vault, claimed().where(({ not, exists }) => not(exists(alive))).orderBy('claimed_at').limit(limit)), // prettier-ignore
    claimedBy: (workerId) => many(vault, claimed().where('claimed_by', '=', workerId)),
    undelivered: async (sentBefore, markBefore, silent, limit) => {
      const sent = all(db).where('state', '=', 'sent').where('kind', 'in', [sql.lit('prep'), sql.lit('late-prep')])
      const prep = silent.length === 0 ? sent : sent.where('gateway', 'not in', [...silent])
      const late = await many(vault, prep.where('sent_at', '<=', sentBefore).orderBy('sent_at').limit(limit))
      const pressing = await many(vault, prep.where('not_after', '<=', markBefore).orderBy('not_after').limit(limit))
      return [...byId([...late, ...pressing]).values()].slice(0, limit)
    },
    crossedReceipts: async (limit) => {
      const { rows } = await sql<{ gateway: string; ref: string; messageId: string }>`
        select early.gateway, early.ref, message.id as "messageId" from early_receipt as early
        join message on message.gateway = early.gateway and message.gateway_ref = early.ref limit ${limit}`.execute(db)
      return rows
    },
  }
}
