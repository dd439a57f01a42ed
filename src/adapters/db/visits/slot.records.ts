import { sql } from 'kysely'
import type { Offer } from '../../../domain/visits/offer.ts'
import type { Slot } from '../../../domain/visits/slot.ts'
import type { OfferRecords, SlotRecords } from '../../../flows/ports/deps.ts'
import { rowsOf } from '../prepared-statements.ts'
import type { Db, OfferTable, SlotTable } from '../tables.ts'

const toSlot = (row: SlotTable): Slot => ({
  id: row.id,
  clinicId: row.clinic_id,
  clinician: row.clinician,
  startsAt: row.starts_at,
  state: row.state,
  bookingId: row.booking_id,
  heldUntil: row.held_until,
})

const FREE = { state: 'free' as const, booking_id: null, held_until: null }

/** Free, or held by this booking itself, or held by somebody whose time is up. */
const within = (bookingId: string, now: Date) =>
  sql<boolean>`(slot.state = 'free' or (slot.state = 'held' and (slot.booking_id = ${bookingId} or slot.held_until <= ${now})))`

const TAKE = `insert into slot (id, clinic_id, clinician, starts_at, state, booking_id) values ($1, $2, $3, $4, 'taken', $5)
  on conflict (clinic_id, clinician, starts_at) do update set state = 'taken', booking_id = excluded.booking_id, held_until = null
  where slot.state = 'free' or (slot.state = 'held' and (slot.booking_id = $5 or slot.held_until <= $6))
  returning id`

export function slotRecords(db: Db): SlotRecords {
  return {
    list: async ({ clinicId, from, to, states, limit }) => {
      let query = db.selectFrom('slot').selectAll().where('clinic_id', '=', clinicId).where('starts_at', '>=', from)
      if (to) query = query.where('starts_at', '<', to)
      if (states) query = query.where('state', 'in', states)
      return (await query.orderBy('starts_at').orderBy('id').limit(limit).execute()).map(toSlot)
    },
    add: async ({ id, clinicId, clinician, startsAt }) => {
      const row = { id, clinic_id: clinicId, clinician, starts_at: startsAt, ...FREE }
      const added = await db.insertInto('slot').values(row).onConflict((on) => on.doNothing()).returning('id').executeTakeFirst()
      return added !== undefined
    },
    remove: async (id, now) => {
      const gone = await db
        .deleteFrom('slot')
        .where('id', '=', id)
        .where((eb) => eb.or([eb('state', '=', 'free'), eb.and([eb('state', '=', 'held'), eb('held_until', '<=', now)])]))
        .returning('id')
        .executeTakeFirst()
      return gone !== undefined
    },
    take: async ({ id, clinicId, clinician, startsAt }, bookingId, now) => {
      return (await rowsOf(db, TAKE, [id, clinicId, clinician, startsAt, bookingId, now])).length > 0
    },
    takeHeld: async (id, bookingId, now) => {
      const row = await db
        .updateTable('slot')
        .set({ state: 'taken', booking_id: bookingId, held_until: null })
        .where('id', '=', id)
        .where(within(bookingId, now))
        .returningAll()
        .executeTakeFirst()
      return row && toSlot(row)
    },
    hold: async (id, bookingId, until, now) => {
      const held = await db
        .updateTable('slot')
        .set({ state: 'held', booking_id: bookingId, held_until: until })
        .where('id', '=', id)
        .where(within(bookingId, now))
        .returning('id')
        .executeTakeFirst()
      return held !== undefined
    },
    free: async (bookingId, startsAt) => {
      await db.updateTable('slot').set(FREE).where('booking_id', '=', bookingId).where('starts_at', '=', startsAt).execute()
    },
    release: async (bookingId) => {
      await db.updateTable('slot').set(FREE).where('booking_id', '=', bookingId).where('state', '=', 'held').execute()
    },
    releaseExpired: async (now) => {
      const rows = await db.updateTable('slot').set(FREE).where('state', '=', 'held').where('held_until', '<=', now).returning('id').execute()
      return rows.length
    },
  }
}

const toOffer = (row: OfferTable): Offer => ({
  id: row.id,
  bookingId: row.booking_id,
  reason: row.reason,
  state: row.state,
  choices: (JSON.parse(row.choices) as { slotId: string; at: string }[]).map(({ slotId, at }) => ({ slotId, at: new Date(at) })),
  chosen: row.chosen,
  madeAt: row.made_at,
  until: row.until,
})

/** Offers that wait for an answer, by booking. */
export async function pendingOffers(db: Db, bookingIds: readonly string[]): Promise<Map<string, Offer>> {
  if (bookingIds.length === 0) return new Map()
  const open = db.selectFrom('offer').selectAll().where('state', 'in', ['open', 'waiting'])
  const rows = await open.where('booking_id', 'in', [...bookingIds]).execute()
  return new Map(rows.map((row) => [row.booking_id, toOffer(row)]))
}

export function offerRecords(db: Db): OfferRecords {
  const all = () => db.selectFrom('offer').selectAll()
  return {
    get: async (id) => {
      const row = await all().where('id', '=', id).executeTakeFirst()
      return row && toOffer(row)
    },
    pending: async (bookingId) => (await pendingOffers(db, [bookingId])).get(bookingId),
    insert: async (offer) => {
      const { id, reason, state, chosen, until } = offer
      const row = { id, booking_id: offer.bookingId, reason, state, choices: JSON.stringify(offer.choices), chosen, made_at: offer.madeAt, until }
      await db.insertInto('offer').values(row).execute()
    },
    move: async (id, from, to, facts = {}) => {
      const moved = await db
        .updateTable('offer')
        .set({ state: to, ...facts })
        .where('id', '=', id)
        .where('state', 'in', from)
        .returning('id')
        .executeTakeFirst()
      return moved !== undefined
    },
    lapsing: async (now, limit) =>
      (await all().where('state', 'in', ['open', 'waiting']).where('until', '<=', now).orderBy('until').limit(limit).execute()).map(toOffer),
  }
}
