import { sql } from 'kysely'
import type { FollowUp, FollowUpReason } from '../../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import type { AlikeQuery, FollowUpRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import { reasonCodes } from './reason-codes.ts'
import type { FollowUpTable } from '../tables.ts'
import type { Db } from '../connections.ts'

type Sealed = Pick<FollowUp, 'phone' | 'detail'>
/** Who closed it, and with which words. */
type End = Pick<FollowUp, 'closedBy' | 'outcome'>

const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'follow-up')
const endOf = (vault: Vault) => sealedField<End>(vault, 'follow-up-end')
const unreadable = (): Sealed => ({ phone: null, detail: { text: UNREADABLE } })
const unreadableEnd = (): End => ({ closedBy: UNREADABLE, outcome: null })

const INSERT = insertInto('follow_up', [
  'id',
  'reason',
  'urgency',
  'clinic_id',
  'booking_id',
  'patient_id',
  'sealed',
  'opened_at',
  'closed_at',
  'closed_by',
  'outcome',
  'sealed_end',
  'phone_print',
  'reply_id',
])

/** From the visits, of which few have just ended, to their calls: a region has many open calls. */
const CLOSE_PAST = prepared<{ id: string }>(`update follow_up set closed_at = $5, closed_by = 'daysix', outcome = $4
  from booking where booking.id = follow_up.booking_id and booking.visit_at >= $2 and booking.visit_at < $3
    and follow_up.closed_at is null and follow_up.reason = any($1::text[])
  returning follow_up.id`)

function toRow(followUp: FollowUp, vault: Vault): FollowUpTable {
  const { phone, detail, closedBy, outcome } = followUp
  return {
    id: followUp.id,
    reason: reasonCodes(vault).codeOf(followUp.reason),
    urgency: FOLLOW_UP_REASONS[followUp.reason].urgency,
    clinic_id: followUp.clinicId,
    booking_id: followUp.bookingId,
    patient_id: followUp.patientId,
    sealed: fieldOf(vault).seal({ phone, detail }, followUp.id),
    opened_at: followUp.openedAt,
    closed_at: followUp.closedAt,
    closed_by: null,
    outcome: null,
    sealed_end: closedBy === null ? null : endOf(vault).seal({ closedBy, outcome }, followUp.id),
    phone_print: phone === null ? null : vault.fingerprint(phone),
    reply_id: typeof detail.reply === 'string' ? detail.reply : null,
  }
}

function toFollowUp(row: FollowUpTable, vault: Vault): FollowUp {
  return {
    ...fieldOf(vault).open(row.sealed, [row.id], unreadable),
    id: row.id,
    reason: reasonCodes(vault).reasonOf(row.reason),
    clinicId: row.clinic_id,
    bookingId: row.booking_id,
    patientId: row.patient_id,
    openedAt: row.opened_at,
    closedAt: row.closed_at,
    ...endOfRow(row, vault),
  }
}

/** What Daysix closes by the hour is in plain columns: a fixed sentence. */
function endOfRow({ id, closed_by: closedBy, outcome, sealed_end: sealed }: FollowUpTable, vault: Vault): End {
  return sealed === null ? { closedBy, outcome } : endOf(vault).open(sealed, [id], unreadableEnd)
}

const VISIT_AT = sql<Date>`coalesce(booking.visit_at, follow_up.opened_at)`

async function alike(db: Db, vault: Vault, { clinicId, reason, ids, after, limit }: AlikeQuery): Promise<FollowUp[]> {
  let query = db
    .selectFrom('follow_up')
    .leftJoin('booking', 'booking.id', 'follow_up.booking_id')
    .selectAll('follow_up')
    .where('follow_up.closed_at', 'is', null)
    .where('follow_up.reason', 'in', reasonCodes(vault).stored([reason]))
    .where((eb) => eb.or([eb('follow_up.clinic_id', '=', clinicId), eb('follow_up.clinic_id', 'is', null)]))
    .orderBy(VISIT_AT)
    .orderBy('follow_up.id')
    .limit(limit)
  if (ids) query = query.where(sql<boolean>`follow_up.id = any(${[...ids]}::text[])`)
  if (after)
    query = query.where(sql<boolean>`(${VISIT_AT}, follow_up.id) > (${after.at}::timestamptz, ${after.id}::text)`)
  return (await query.execute()).map((row) => toFollowUp(row, vault))
}

export function followUpRecords(db: Db, vault: Vault): FollowUpRecords {
  return {
    get: async (id) => {
      const row = await db.selectFrom('follow_up').selectAll().where('id', '=', id).executeTakeFirst()
      return row && toFollowUp(row, vault)
    },
    list: async ({ clinicId, unplacedToo, open, bookingId, bookingIds, phone, replyId, limit, ...by }) => {
      let query = db
        .selectFrom('follow_up')
        .selectAll()
        .orderBy('urgency')
        .orderBy('opened_at')
        .orderBy('id')
        .limit(limit)
      if (clinicId && unplacedToo)
        query = query.where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      else if (clinicId) query = query.where('clinic_id', '=', clinicId)
      if (bookingIds) query = query.where('booking_id', 'in', bookingIds.length > 0 ? bookingIds : [''])
      if (by.patientIds) query = query.where('patient_id', 'in', by.patientIds.length > 0 ? by.patientIds : [''])
      if (bookingId) query = query.where('booking_id', '=', bookingId)
      if (phone) query = query.where('phone_print', '=', vault.fingerprint(phone))
      if (by.reasons) query = query.where('reason', 'in', reasonCodes(vault).stored(by.reasons))
      if (by.butReasons?.length) query = query.where('reason', 'not in', reasonCodes(vault).stored(by.butReasons))
      if (replyId) query = query.where('reply_id', '=', replyId)
      if (open !== undefined) query = query.where('closed_at', open ? 'is' : 'is not', null)
      return (await query.execute()).map((row) => toFollowUp(row, vault))
    },
    alike: (query) => alike(db, vault, query),
    recentlyClosed: async (clinicId, since, limit) => {
      const query = db
        .selectFrom('follow_up')
        .selectAll()
        .where('closed_at', '>=', since)
        .where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      return (await query.orderBy('closed_at', 'desc').limit(limit).execute()).map((row) => toFollowUp(row, vault))
    },
    countOpen: async (clinicId) => {
      const rows = await db
        .selectFrom('follow_up')
        .select((eb) => ['reason', eb.fn.countAll().as('count')])
        .where('closed_at', 'is', null)
        .where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
        .groupBy('reason')
        .execute()
      const counts = new Map<FollowUpReason, number>()
      for (const { reason, count } of rows) {
        const known = reasonCodes(vault).reasonOf(reason)
        counts.set(known, (counts.get(known) ?? 0) + Number(count))
      }
      return counts
    },
    countCards: async (clinicId, butReasons) => {
      let query = db
        .selectFrom('follow_up')
        .select(({ fn }) =>
          fn
            .count(fn.coalesce('patient_id', 'phone_print', 'id'))
            .distinct()
            .as('cards'),
        )
        .where('closed_at', 'is', null)
        .where((eb) => eb.or([eb('clinic_id', '=', clinicId), eb('clinic_id', 'is', null)]))
      if (butReasons.length > 0) query = query.where('reason', 'not in', reasonCodes(vault).stored(butReasons))
      return Number((await query.executeTakeFirstOrThrow()).cards)
    },
    update: async (followUp) => {
      const { id, sealed } = toRow(followUp, vault)
      await db.updateTable('follow_up').set({ sealed }).where('id', '=', id).execute()
    },
    reopen: async (id, closedSince) => {
      const opened = await db
        .updateTable('follow_up')
        .set({ closed_at: null, closed_by: null, outcome: null, sealed_end: null })
        .where('id', '=', id)
        .where('closed_at', '>=', closedSince)
        .returning('id')
        .executeTakeFirst()
      return opened !== undefined
    },
    insert: (followUp) => db.insert(INSERT, [toRow(followUp, vault)]),
    closePast: async (reasons, { from, to }, outcome, at) =>
      (await db.rows(CLOSE_PAST, [reasonCodes(vault).stored(reasons), from, to, outcome, at])).length,
    close: async (id, by, outcome, at) => {
      const closed = await db
        .updateTable('follow_up')
        .set({ closed_at: at, sealed_end: endOf(vault).seal({ closedBy: by, outcome }, id) })
        .where('id', '=', id)
        .where('closed_at', 'is', null)
        .returning('id')
        .executeTakeFirst()
      return closed !== undefined
    },
  }
}
