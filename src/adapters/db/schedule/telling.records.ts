import { sql } from 'kysely'
import type { Asking } from '../../../domain/schedule/telling.ts'
import type { FeedRecords } from '../../../flows/ports/schedule.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import { sealedField } from '../sealed-field.ts'

interface DueRow {
  id: string
  booking_id: string
  sealed: string
  failures: number
}

/** What schedules are to be told. */
export function tellings(db: Db, vault: Vault): Pick<FeedRecords, 'putBy' | 'due' | 'settle' | 'putOff'> {
  const field = sealedField<Asking>(vault, 'feed-telling')
  const dated = (asking: Asking): Asking => ({
    ...asking,
    ...{ from: new Date(asking.from), to: new Date(asking.to), madeAt: new Date(asking.madeAt) },
  })
  return {
    putBy: async (bookingId, asking) => {
      const { id, feed, madeAt } = asking
      const row = { id, feed, booking_id: bookingId, sealed: field.seal(asking, id), made_at: madeAt, due_at: madeAt }
      await db.insertInto('feed_telling').values(row).execute()
    },
    due: async (now, until, limit) => {
      const { rows } = await sql<DueRow>`update feed_telling set due_at = ${until} where id in (
          select id from feed_telling t
          where ended_at is null and due_at <= ${now} and not exists (select from feed_telling before
            where before.booking_id = t.booking_id and before.ended_at is null and before.id < t.id)
          order by due_at, id limit ${limit} for update skip locked
        ) returning id, booking_id, sealed, failures`.execute(db)
      rows.sort((a, b) => (a.id < b.id ? -1 : 1))
      return rows.map(({ id, booking_id: bookingId, sealed, failures }) => ({
        ...{ asking: dated(field.open(sealed, [id])), failures, bookingId },
      }))
    },
    settle: async (id, ended, at) => {
      await db.updateTable('feed_telling').set({ ended, ended_at: at }).where('id', '=', id).execute()
    },
    putOff: async (id, until) => {
      const set = { due_at: until, failures: sql<number>`failures + 1` }
      await db.updateTable('feed_telling').set(set).where('id', '=', id).execute()
    },
  }
}
