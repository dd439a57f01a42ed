import type { Selectable } from 'kysely'
import type { EventRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto } from '../prepared-statements.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { EventTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const INSERT = insertInto('happening', ['at', 'booking_id', 'what', 'sealed'])

/** Who did it, and the facts: what a patient wrote tells of bleeding. */
interface Sealed {
  by: string
  facts: Record<string, unknown>
}

const unreadable = (): Sealed => ({ by: UNREADABLE, facts: {} })

/** Who did it, and the facts, of a row as it stands; older versions kept them in the clear. */
export function openEvent(row: Omit<Selectable<EventTable>, 'id'>, vault: Vault): Sealed {
  const { booking_id: bookingId, at, what, by, facts, sealed } = row
  if (sealed === null) return { by: by!, facts: JSON.parse(facts!) as Sealed['facts'] }
  return sealedField<Sealed>(vault, 'event').open(sealed, [bookingId, at, what], unreadable)
}

export function eventRecords(db: Db, vault: Vault): EventRecords {
  const field = sealedField<Sealed>(vault, 'event')
  return {
    add: ({ at, bookingId, what, by, facts }) => {
      const sealed = field.seal({ by, facts }, bookingId, at, what)
      return db.insert(INSERT, [{ at, booking_id: bookingId, what, sealed }])
    },
    ofBooking: async (bookingId) => {
      const all = db.selectFrom('happening').selectAll()
      const rows = await all.where('booking_id', '=', bookingId).orderBy('id').execute()
      return rows.map((row) => ({ at: row.at, bookingId, what: row.what, ...openEvent(row, vault) }))
    },
  }
}
