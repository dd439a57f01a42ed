import { sql } from 'kysely'
import { UNSENT } from '../../../domain/messages/message.ts'
import type { DispatchRecords } from '../../../flows/ports/deps.ts'
import type { SendJob } from '../../../flows/ports/jobs.ts'
import { MAILED_KINDS, TEXT_KINDS } from '../../../domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../../domain/messages/texts/message-kinds.ts'
import type { Vault } from '../../vault/vault.ts'
import type { MessageTable } from '../tables.ts'
import type { Db } from '../connections.ts'
import { byId } from './dispatch-context.ts'
import { dispatchFigures } from './dispatch-figures.ts'
import { prepared, type PreparedStatement } from '../prepared-statements.ts'
import { dueRecords, IS_STOPPED } from './due.records.ts'
import { askedRecords } from './asked.records.ts'
import { statesOf } from './message-states.ts'
import { MESSAGE_COLUMNS, toMessage } from './message.rows.ts'

type JobRow = Pick<MessageTable, 'id' | 'revision' | 'attempt' | 'send_at'>
const toJob = (row: JobRow): SendJob => ({
  messageId: row.id,
  revision: row.revision,
  attempt: row.attempt,
  at: row.send_at,
})

/** As literals: the indexes that serve it name these kinds. */
const PREPARATION = TEXT_KINDS.filter((kind) => MESSAGE_KINDS[kind].prepares !== null)
  .map((kind) => `'${kind}'`)
  .join()

/** What a person makes up for where it was lost; what the desk wrote is of kind `answer`. */
const MATTERS = MAILED_KINDS.filter((kind) => MESSAGE_KINDS[kind].lost === 'call' || kind === 'answer')
  .map((kind) => `'${kind}'`)
  .join()

/** The next ones as an array, found first: so that the planner cannot think of reading the whole table. */
const ENQUEUE_DUE = prepared<JobRow>(`update message set state = 'queued' where id = any(array(
    select id from message where state = 'planned' and send_at < $1 order by send_at, id limit $2
    for update skip locked))
  returning id, revision, attempt, send_at`)
const OVERDUE = prepared<JobRow>(`select id, revision, attempt, send_at from message
  where state = 'queued' and send_at < $1 and not ${IS_STOPPED} order by send_at limit $2`)

const SELECT = `select ${MESSAGE_COLUMNS.join()} from message`
const WORTHLESS = prepared<MessageTable>(
  `${SELECT} where state in (${statesOf(UNSENT)}) and not_after <= $1 order by not_after limit $2`,
)
const STUCK = prepared<MessageTable>(`${SELECT} where state = 'sending'
  and not exists (select from worker where worker.id = message.claimed_by) order by claimed_at limit $1`)
const CLAIMED_BY = prepared<MessageTable>(`${SELECT} where state = 'sending' and claimed_by = $1`)
/** Of the gateways that tell what became of a message. */
const PREPARING = `${SELECT}
  where state = 'sent' and channel <> 'email' and kind in (${PREPARATION}) and not gateway = any($2::text[])`
const LATE = prepared<MessageTable>(`${PREPARING} and sent_at <= $1 order by sent_at limit $3`)
const PRESSING = prepared<MessageTable>(`${PREPARING} and not_after <= $1 order by not_after limit $3`)

/** By e-mail, where only the patient can say that it was read. */
const UNREAD = prepared<MessageTable>(`${SELECT} where state = 'sent' and channel = 'email' and kind in (${MATTERS})
  and (sent_at <= $1 or not_after <= $2) order by sent_at limit $3`)

export function dispatchRecords(db: Db, vault: Vault): DispatchRecords {
  return {
    ...jobRecords(db),
    ...dueRecords(db, vault),
    ...leftBehindRecords(db, vault),
    ...unsentRecords(db, vault),
    ...askedRecords(db),
    figures: (now) => dispatchFigures(db, now),
  }
}

/** Jobs to be enqueued, for the first time or again. */
function jobRecords(db: Db): Pick<DispatchRecords, 'enqueueDue' | 'overdue'> {
  return {
    enqueueDue: async (until, limit) => (await db.rows(ENQUEUE_DUE, [until, limit])).map(toJob),
    overdue: async (before, limit) => (await db.rows(OVERDUE, [before, limit])).map(toJob),
  }
}

/** Asks a prepared statement for messages. */
const asking = (db: Db, vault: Vault) => async (statement: PreparedStatement<MessageTable>, values: unknown[]) =>
  (await db.rows(statement, values)).map((row) => toMessage(row, vault))

/** What waits though it should not. */
function unsentRecords(db: Db, vault: Vault): Pick<DispatchRecords, 'dueIn' | 'worthless'> {
  const many = asking(db, vault)
  const unsent = () =>
    db
      .selectFrom('message')
      .selectAll()
      .where('state', 'in', [...UNSENT])
  return {
    dueIn: async (clinicId, now, limit) => {
      const due = unsent().where('send_at', '<=', now)
      const there = clinicId === null ? due : due.where('clinic_id', '=', clinicId)
      return (await there.orderBy('send_at').limit(limit).execute()).map((row) => toMessage(row, vault))
    },
    worthless: (now, limit) => many(WORTHLESS, [now, limit]),
  }
}

type LeftBehind = 'stuck' | 'claimedBy' | 'undelivered' | 'unread' | 'crossedReceipts'

/** What was claimed or sent, and of which nothing more was heard. */
function leftBehindRecords(db: Db, vault: Vault): Pick<DispatchRecords, LeftBehind> {
  const many = asking(db, vault)
  return {
    stuck: (limit) => many(STUCK, [limit]),
    claimedBy: (workerId) => many(CLAIMED_BY, [workerId]),
    undelivered: async (sentBefore, markBefore, silent, limit) => {
      const [late, pressing] = await Promise.all([
        many(LATE, [sentBefore, silent, limit]),
        many(PRESSING, [markBefore, silent, limit]),
      ])
      return [...byId([...late, ...pressing]).values()].slice(0, limit)
    },
    unread: (sentBefore, markBefore, limit) => many(UNREAD, [sentBefore, markBefore, limit]),
    crossedReceipts: async (limit) => {
      const { rows } = await sql<{ gateway: string; ref: string; messageId: string }>`
        select early.gateway, early.ref, message.id as "messageId" from early_receipt as early
        join message on message.gateway = early.gateway and message.gateway_ref = early.ref limit ${limit}`.execute(db)
      return rows
    },
  }
}
