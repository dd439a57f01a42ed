import { sql } from 'kysely'
import { FOLLOW_UP_REASONS, type FollowUp, type FollowUpReason } from '../../../domain/calls/follow-up.ts'
import type { FollowUpRecords, IdempotencyRecords, EventRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertRows, rowsOf } from '../prepared-statements.ts'
import type { Db, FollowUpTable, IdempotencyTable } from '../tables.ts'

type Sealed = Pick<FollowUp, 'phone' | 'detail'>

function toRow(followUp: FollowUp, vault: Vault): FollowUpTable {
  const { phone, detail } = followUp
  return {
    id: followUp.id,
    reason: followUp.reason,
    urgency: FOLLOW_UP_REASONS[followUp.reason].urgency,
    clinic_id: followUp.clinicId,
    booking_id: followUp.bookingId,
    patient_id: followUp.patientId,
    sealed: vault.seal(JSON.stringify({ phone, detail } satisfies Sealed)),
    opened_at: followUp.openedAt,
    closed_at: followUp.closedAt,
    closed_by: followUp.closedBy,
    outcome: followUp.outcome,
    phone_print: phone === null ? null : vault.fingerprint(phone),
    reply_id: typeof detail.reply === 'string' ? detail.reply : null,
  }
}

function toFollowUp(row: FollowUpTable, vault: Vault): FollowUp {
  return {
    ...(JSON.parse(vault.open(row.sealed)) as Sealed),
    id: row.id,
    reason: row.reason as FollowUpReason,
    clinicId: row.clinic_id,
    bookingId: row.booking_id,
    patientId: row.patient_id,
    openedAt: row.opened_at,
    closedAt: row.closed_at,
    closedBy: row.closed_by,
    outcome: row.outcome,
  }
}

export function followUpRecords(db: Db, vault: Vault): FollowUpRecords {
  return {
    get: async (id) => {
      const row = await db.selectFrom('follow_up').selectAll().where('id', '=', id).executeTakeFirst()
      return row && toFollowUp(row, vault)
    },
    list: async ({ clinicId, unplacedToo, open, bookingId, bookingIds, phone, replyId, limit }) => {
      let query = db.selectFrom('follow_up').selectAll().orderBy('urgency').orderBy('opened_at').orderBy('id').limit(limit)
      if (clinicId && unplacedToo) query = query.where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      else if (clinicId) query = query.where('clinic_id', '=', clinicId)
      if (bookingIds) query = query.where('booking_id', 'in', bookingIds.length > 0 ? bookingIds : [''])
      if (bookingId) query = query.where('booking_id', '=', bookingId)
      if (phone) query = query.where('phone_print', '=', vault.fingerprint(phone))
      if (replyId) query = query.where('reply_id', '=', replyId)
      if (open !== undefined) query = query.where('closed_at', open ? 'is' : 'is not', null)
      return (await query.execute()).map((row) => toFollowUp(row, vault))
    },
    recentlyClosed: async (clinicId, since, limit) => {
      const query = db
        .selectFrom('follow_up')
        .selectAll()
        .where('closed_at', '>=', since)
        .where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      return (await query.orderBy('closed_at', 'desc').limit(limit).execute()).map((row) => toFollowUp(row, vault))
    },
    countOpen: async (clinicId) => {
      const row = await db
        .selectFrom('follow_up')
        .select((eb) => eb.fn.countAll().as('count'))
        .where('closed_at', 'is', null)
        .where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
        .executeTakeFirstOrThrow()
      return Number(row.count)
    },
    update: async (followUp) => {
      const { id, sealed } = toRow(followUp, vault)
      await db.updateTable('follow_up').set({ sealed }).where('id', '=', id).execute()
    },
    reopen: async (id, closedSince) => {
      const opened = await db
        .updateTable('follow_up')
        .set({ closed_at: null, closed_by: null, outcome: null })
        .where('id', '=', id)
        .where('closed_at', '>=', closedSince)
        .returning('id')
        .executeTakeFirst()
      return opened !== undefined
    },
    insert: async (followUp) => {
      await insertRows(db, 'follow_up', [toRow(followUp, vault)])
    },
    closePast: async (reasons, { from, to }, outcome, at) => {
      // From the visits, of which few have just ended, to their calls: a region has many open calls.
      const { rows } = await sql<{ id: string }>`update follow_up set closed_at = ${at}, closed_by = 'daysix', outcome = ${outcome}
        from booking where booking.id = follow_up.booking_id and booking.visit_at >= ${from} and booking.visit_at < ${to}
          and follow_up.closed_at is null and follow_up.reason = any(${reasons}::text[])
        returning follow_up.id`.execute(db)
      return rows.length
    },
    close: async (id, by, outcome, at) => {
      const closed = await db
        .updateTable('follow_up')
        .set({ closed_at: at, closed_by: by, outcome })
        .where('id', '=', id)
        .where('closed_at', 'is', null)
        .returning('id')
        .executeTakeFirst()
      return closed !== undefined
    },
  }
}

export function trailRecords(db: Db): EventRecords {
  return {
    add: async ({ at, bookingId, what, by, facts }) => {
      await insertRows(db, 'happening', [{ at, booking_id: bookingId, what, by, facts: JSON.stringify(facts) }])
    },
    ofBooking: async (bookingId) => {
      const rows = await db.selectFrom('happening').selectAll().where('booking_id', '=', bookingId).orderBy('id').execute()
      return rows.map(({ at, what, by, facts }) => ({ at, bookingId, what, by, facts: JSON.parse(facts) as Record<string, unknown> }))
    },
  }
}

export function idempotencyRecords(db: Db, vault: Vault): IdempotencyRecords {
  return {
    get: async (key) => {
      const [row] = await rowsOf<IdempotencyTable>(db, 'select request_hash, status, sealed from idempotency where key = $1', [key])
      return row && { key, requestHash: row.request_hash, status: row.status, body: JSON.parse(vault.open(row.sealed)) as unknown }
    },
    forget: async (before) => {
      await db.deleteFrom('idempotency').where('at', '<', before).execute()
    },
    put: async ({ key, requestHash, status, body }, at) => {
      await insertRows(db, 'idempotency', [{ key, request_hash: requestHash, status, sealed: vault.seal(JSON.stringify(body)), at }])
    },
  }
}
