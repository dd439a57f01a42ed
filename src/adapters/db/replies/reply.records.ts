import { sql, type OnConflictBuilder } from 'kysely'
import type { ReplyRecord, ReplyRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { prepared } from '../prepared-statements.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { ReplyTable, Tables } from '../tables.ts'
import type { Db } from '../connections.ts'

type Sealed = Pick<ReplyRecord, 'phone' | 'text' | 'octets' | 'reading' | 'corrected' | 'asked' | 'answers' | 'did'>

const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'reply')

function toRow(reply: ReplyRecord, vault: Vault): ReplyTable {
  const { phone, text, octets, reading, corrected, asked, answers, did } = reply
  // What is undefined is left out.
  const sealed = { phone, text, octets, reading, corrected, asked, answers, did } as Sealed
  return {
    id: reply.id,
    gateway: reply.gateway,
    key: reply.key,
    phone_print: vault.fingerprint(phone),
    sealed: fieldOf(vault).seal(sealed, reply.id),
    received_at: reply.receivedAt,
    booking_id: reply.bookingId,
    done: reply.done,
    clinic_id: reply.clinicId,
    patient_id: reply.patientId,
  }
}

function toReply(row: ReplyTable, vault: Vault): ReplyRecord {
  return {
    ...fieldOf(vault).open(row.sealed, [row.id], unreadable),
    id: row.id,
    gateway: row.gateway,
    key: row.key,
    receivedAt: row.received_at,
    bookingId: row.booking_id,
    done: row.done,
    clinicId: row.clinic_id,
    patientId: row.patient_id,
  }
}

const unreadable = (): Sealed => ({ phone: '', text: UNREADABLE, reading: null })

/** As its index has it. */
const ASKED = `done = 'asked-which'`
const WAITS = sql.raw<boolean>(ASKED)
const SELECT = `select id, gateway, key, phone_print, sealed, received_at, booking_id, done,
  clinic_id, patient_id from reply`
const OLDEST = 'received_at <= $1 order by received_at limit $2'
const UNACTED = prepared<ReplyTable>(`${SELECT} where done is null and ${OLDEST}`)
const UNANSWERED_BEFORE = prepared<ReplyTable>(`${SELECT} where ${ASKED} and ${OLDEST}`)
const COUNT_FROM = prepared<{ count: number }>(
  'select count(*)::int as count from reply where phone_print = $1 and received_at >= $2',
)

const alreadyKept = (on: OnConflictBuilder<Tables, 'reply'>) => on.columns(['gateway', 'key']).doNothing()

export function replyRecords(db: Db, vault: Vault): ReplyRecords {
  const all = () => db.selectFrom('reply').selectAll()
  const oldest = async (statement: typeof UNACTED, before: Date, limit: number) =>
    (await db.rows(statement, [before, limit])).map((row) => toReply(row, vault))
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
    unacted: (before, limit) => oldest(UNACTED, before, limit),
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
    page: async (afterId, limit) => {
      const rows = await all().where('id', '>', afterId).orderBy('id').limit(limit).execute()
      return rows.map((row) => toReply(row, vault))
    },
    countFrom: async (phone, since) => {
      const [row] = await db.rows(COUNT_FROM, [vault.fingerprint(phone), since])
      return row!.count
    },
    recent: async ({ clinicId, before, limit }) => {
      // A text that belongs to no clinic may be for any: all of them see it.
      let query = all().where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      if (before)
        query = query.where(({ eb, refTuple, tuple }) =>
          eb(refTuple('received_at', 'id'), '<', tuple(before.receivedAt, before.id)),
        )
      const rows = await query.orderBy('received_at', 'desc').orderBy('id', 'desc').limit(limit).execute()
      return rows.map((row) => toReply(row, vault))
    },
    unanswered: async (phone, clinicId, since) => {
      const row = await all()
        .where('phone_print', '=', vault.fingerprint(phone))
        .where('received_at', '>=', since)
        .where('clinic_id', '=', clinicId)
        .where(WAITS)
        .orderBy('received_at', 'desc')
        .limit(1)
        .executeTakeFirst()
      return row && toReply(row, vault)
    },
    unansweredBefore: (before, limit) => oldest(UNANSWERED_BEFORE, before, limit),
  }
}
