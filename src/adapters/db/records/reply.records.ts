import type { ReplyRecord, ReplyRecords, Thread } from '../../../flows/ports.ts'
import type { Vault } from '../../vault/vault.ts'
import { rowsOf } from '../ready-made.ts'
import type { Db, ReplyTable } from '../tables.ts'

type Sealed = Pick<ReplyRecord, 'phone' | 'text' | 'reading' | 'corrected' | 'cycleBefore'>

function toRow(reply: ReplyRecord, vault: Vault): ReplyTable {
  const { phone, text, reading, corrected, cycleBefore } = reply
  return {
    id: reply.id,
    gateway: reply.gateway,
    key: reply.key,
    phone_print: vault.fingerprint(phone),
    sealed: vault.seal(JSON.stringify({ phone, text, reading, ...(corrected && { corrected }), ...(cycleBefore && { cycleBefore }) } satisfies Sealed)),
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
    countFrom: async (phone, since) => {
      const [row] = await rowsOf<{ count: number }>(db, 'select count(*)::int as count from reply where phone_print = $1 and received_at >= $2', [vault.fingerprint(phone), since])
      return row!.count
    },
    recent: async ({ clinicId, before, limit }) => {
      let query = db
        .selectFrom('reply')
        .leftJoin('booking', 'booking.id', 'reply.booking_id')
        .selectAll('reply')
        // A text that belongs to no visit may be for any clinic: all of them see it.
        .where((eb) => eb.or([eb('booking.clinic_id', '=', clinicId), eb('reply.booking_id', 'is', null)]))
      if (before) query = query.where(({ eb, refTuple, tuple }) => eb(refTuple('reply.received_at', 'reply.id'), '<', tuple(before.receivedAt, before.id)))
      const rows = await query.orderBy('reply.received_at', 'desc').orderBy('reply.id', 'desc').limit(limit).execute()
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
