import type { Offer } from '../../../domain/visits/offer.ts'
import type { OfferRecords } from '../../../flows/ports/deps.ts'
import { prepared } from '../prepared-statements.ts'
import type { OfferTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const toOffer = (row: OfferTable): Offer => ({
  id: row.id,
  bookingId: row.booking_id,
  reason: row.reason,
  state: row.state,
  choices: (JSON.parse(row.choices) as { slotId: string; at: string }[]).map(({ slotId, at }) => ({
    slotId,
    at: new Date(at),
  })),
  chosen: row.chosen,
  madeAt: row.made_at,
  until: row.until,
})

const LAPSING = prepared<OfferTable>(`select id, booking_id, state, choices, chosen, made_at, until, reason from offer
  where state in ('open', 'waiting') and until <= $1 order by until limit $2`)

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
      const row = {
        id,
        booking_id: offer.bookingId,
        reason,
        state,
        choices: JSON.stringify(offer.choices),
        chosen,
        made_at: offer.madeAt,
        until,
      }
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
    lapsing: async (now, limit) => (await db.rows(LAPSING, [now, limit])).map(toOffer),
  }
}
