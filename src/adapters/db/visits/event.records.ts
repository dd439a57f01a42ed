import type { EventRecords } from '../../../flows/ports/deps.ts'
import { insertInto } from '../prepared-statements.ts'
import type { Db } from '../connections.ts'

const INSERT = insertInto('happening', ['at', 'booking_id', 'what', 'by', 'facts'])

export function eventRecords(db: Db): EventRecords {
  return {
    add: ({ at, bookingId, what, by, facts }) =>
      db.insert(INSERT, [{ at, booking_id: bookingId, what, by, facts: JSON.stringify(facts) }]),
    ofBooking: async (bookingId) => {
      const rows = await db
        .selectFrom('happening')
        .selectAll()
        .where('booking_id', '=', bookingId)
        .orderBy('id')
        .execute()
      return rows.map(({ at, what, by, facts }) => ({
        at,
        bookingId,
        what,
        by,
        facts: JSON.parse(facts) as Record<string, unknown>,
      }))
    },
  }
}
