import type { OnConflictBuilder } from 'kysely'
import type { ReplyRecord, ReplyRecords, Thread } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db, ReplyTable, Tables } from '../tables.ts'

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
    clinic_id: reply.clinicId,
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
    clinicId: row.clinic_id,
  }
}

const COUNT_FROM = prepared<{ count: number }>('select count(*)::int as count from reply where phone_print = $1 and received_at >= $2')

const alreadyKept = (on: OnConflictBuilder<Tables, 'reply'>) => on.columns(['gateway', 'key']).doNothing()

export function replyRecords(db: Db, vault: Vault): ReplyRecords {
  const all = () => db.selectFrom('reply').selectAll()
  const threadId = (phone: string, clinicId: string) => `${vault.fingerprint(phone)} ${clinicId}`
  return {
    keep: async (reply) => {
      const row = toRow(reply, vault)
      const added = await db.insertInto('reply').values(row).onConflict(alreadyKept).returning('id').executeTakeFirst()
      if (added) return reply
      const { gateway, key } = reply
      return toReply(await all().where('gateway', '=', gateway).where('key', '=', key).executeTakeFirstOrThrow(), vault)
    },
    update: async (reply) => {
      const { id, ...changes } = toRow(reply, vault)
      await db.updateTable('reply').set(changes).where('id', '=', id).execute()
    },
    get: async (id) => {
      const row = await all().where('id', '=', id).executeTakeFirst()
      return row && toReply(row, vault)
    },
    lock: async (id) => {
      const row = await all().where('id', '=', id).forNoKeyUpdate().executeTakeFirst()
      return row && toReply(row, vault)
    },
    unacted: async (before, limit) => {
      const rows = await all().where('done', 'is', null).where('received_at', '<=', before).orderBy('received_at').limit(limit).execute()
      return rows.map((row) => toReply(row, vault))
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
      const [row] = await db.rows(COUNT_FROM, [vault.fingerprint(phone), since])
      return row!.count
    },
    recent: async ({ clinicId, before, limit }) => {
      // A text that belongs to no clinic may be for any: all of them see it.
      let query = all().where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      if (before) query = query.where(({ eb, refTuple, tuple }) => eb(refTuple('received_at', 'id'), '<', tuple(before.receivedAt, before.id)))
      const rows = await query.orderBy('received_at', 'desc').orderBy('id', 'desc').limit(limit).execute()
      return rows.map((row) => toReply(row, vault))
    },
    thread: async (phone, clinicId) => {
      const row = await db.selectFrom('thread').selectAll().where('id', '=', threadId(phone, clinicId)).executeTakeFirst()
      return row && (JSON.parse(vault.open(row.sealed)) as Thread)
    },
    putThread: async (thread) => {
      const { phone, clinicId } = thread
      const sealed = vault.seal(JSON.stringify(thread))
      const row = { id: threadId(phone, clinicId), phone_print: vault.fingerprint(phone), clinic_id: clinicId, sealed }
      await db.insertInto('thread').values(row).onConflict((on) => on.column('id').doUpdateSet({ sealed })).execute()
    },
  }
}
