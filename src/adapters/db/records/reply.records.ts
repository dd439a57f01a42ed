import type { ReplyRecord, ReplyRecords, Thread } from '../../../flows/ports.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db, ReplyTable } from '../tables.ts'

type Sealed = Pick<ReplyRecord, 'phone' | 'text' | 'reading'>

function toRow(reply: ReplyRecord, vault: Vault): ReplyTable {
  const { phone, text, reading } = reply
  return {
    id: reply.id,
    gateway: reply.gateway,
    key: reply.key,
    phone_print: vault.fingerprint(phone),
    sealed: vault.seal(JSON.stringify({ phone, text, reading } satisfies Sealed)),
    received_at: reply.receivedAt,
    booking_id: reply.bookingId,
    done: reply.done,
  }
}

function toReply(row: ReplyTable, vault: Vault): ReplyRecord {
  return {
    ...(JSON.parse(vault.open(row.sealed)) as Sealed),
    id: row.id,
    gateway: row.gateway,
    key: row.key,
    receivedAt: row.received_at,
    bookingId: row.booking_id,
    done: row.done,
  }
}

export function replyRecords(db: Db, vault: Vault): ReplyRecords {
  return {
    insert: async (reply) => {
      const added = await db
        .insertInto('reply')
        .values(toRow(reply, vault))
        .onConflict((on) => on.columns(['gateway', 'key']).doNothing())
        .returning('id')
        .executeTakeFirst()
      return added !== undefined
    },
    update: async (reply) => {
      const { id, ...changes } = toRow(reply, vault)
      await db.updateTable('reply').set(changes).where('id', '=', id).execute()
    },
    get: async (id) => {
      const row = await db.selectFrom('reply').selectAll().where('id', '=', id).executeTakeFirst()
      return row && toReply(row, vault)
    },
    fromPhone: async (phone, since) => {
      const rows = await db
        .selectFrom('reply')
        .selectAll()
        .where('phone_print', '=', vault.fingerprint(phone))
        .where('received_at', '>=', since)
        .orderBy('received_at')
        .orderBy('id')
        .execute()
      return rows.map((row) => toReply(row, vault))
    },
    thread: async (phone) => {
      const row = await db.selectFrom('thread').selectAll().where('phone_print', '=', vault.fingerprint(phone)).executeTakeFirst()
      return row && (JSON.parse(vault.open(row.sealed)) as Thread)
    },
    putThread: async (thread) => {
      const row = { phone_print: vault.fingerprint(thread.phone), sealed: vault.seal(JSON.stringify(thread)) }
      await db
        .insertInto('thread')
        .values(row)
        .onConflict((on) => on.column('phone_print').doUpdateSet({ sealed: row.sealed }))
        .execute()
    },
  }
}
