import { sql } from 'kysely'
import type { FeedCode, FeedFault, FeedFigures, FeedPart, FeedRecords } from '../../../flows/ports/schedule.ts'
import type { CheckLine } from '../../../domain/schedule/check-line.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import { resourceRecords } from './resource.records.ts'
import { tellings } from './telling.records.ts'
import { feedRows } from './feed-rows.ts'
import { arrivalsOf, loadKnown, lockFeed } from './load-known.ts'

type SealedFault = Pick<FeedFault, 'key' | 'why'>

const unreadable = (): SealedFault => ({ key: UNREADABLE, why: UNREADABLE })

export function feedRecords(db: Db, vault: Vault): FeedRecords {
  const rows = feedRows(vault)
  const faults = sealedField<SealedFault>(vault, 'feed-fault')
  const keysOf = (found: { id: string; sealed: string }[]) => found.map((row) => rows.openVisit(row).key)
  return {
    load: async (feed, needs) => loadKnown(db, rows, needs, { feed, arrivals: await lockFeed(db, feed) }),
    look: async (feed, needs) => loadKnown(db, rows, needs, { feed, arrivals: await arrivalsOf(db, feed) }),
    keep: (feed, here, changed, now) => rows.write(db, feed, here, changed, now),
    count: (...counted) => count(db, ...counted),
    addFaults: async (feed, added) => {
      if (added.length === 0) return
      const values = added.map(({ id, at, does, clinicId, key, why }) => ({
        ...{ id, feed, at, does, clinic_id: clinicId, sealed: faults.seal({ key, why }, id) },
      }))
      await db.insertInto('feed_fault').values(values).execute()
    },
    faults: async (feed, limit) => {
      const all = db.selectFrom('feed_fault').selectAll().where('feed', '=', feed)
      const found = await all.orderBy('at', 'desc').orderBy('id', 'desc').limit(limit).execute()
      return found.map(({ id, at, does, clinic_id: clinicId, sealed }) => ({
        ...{ id, at, does: does as FeedFault['does'], clinicId },
        ...faults.open(sealed, [id], unreadable),
      }))
    },
    figures: (feed, since) => figures(db, feed, since),
    waiting: async (feed, limit) => {
      const all = db.selectFrom('feed_visit').select(['id', 'sealed']).where('feed', '=', feed)
      return keysOf(await all.where('waits', '=', true).orderBy('id').limit(limit).execute())
    },
    bookedWithin: async (feed, from, to) => {
      const all = db.selectFrom('feed_visit').select(['id', 'sealed']).where('feed', '=', feed)
      const within = all.where('booking_id', 'is not', null).where('visit_at', '>=', from).where('visit_at', '<', to)
      return keysOf(await within.execute())
    },
    ofBooking: async (bookingId) => {
      const all = db.selectFrom('feed_visit').select(['id', 'feed', 'sealed']).where('booking_id', '=', bookingId)
      const row = await all.orderBy('id').limit(1).executeTakeFirst()
      return row && { feed: row.feed, key: rows.openVisit(row).key }
    },
    ...tellings(db, vault),
    ...resourceRecords(db, vault, rows),
    polledTo: async (feed) => {
      const one = db.selectFrom('feed').select('polled_to').where('name', '=', feed)
      return (await one.executeTakeFirst())?.polled_to ?? null
    },
    notePolled: async (feed, to) => {
      await sql`insert into feed (name, polled_to) values (${feed}, ${to})
        on conflict (name) do update set polled_to = greatest(feed.polled_to, excluded.polled_to)`.execute(db)
    },
    codes: async () => {
      const all = await db.selectFrom('feed_code').select(['feed', 'part', 'code', 'ours']).execute()
      return all.map(({ part, ...rest }) => ({ ...rest, part: part as FeedPart }))
    },
    putCode: async (code: FeedCode, at) => {
      const add = db.insertInto('feed_code').values({ ...code, at })
      await add.onConflict((on) => on.columns(['feed', 'part', 'code']).doUpdateSet({ ours: code.ours, at })).execute()
    },
  }
}

async function count(db: Db, ...[feed, counts, now, heard]: Parameters<FeedRecords['count']>): Promise<void> {
  if (heard)
    await sql`update feed set heard_at = ${now}, made_at = greatest(made_at, ${heard.madeAt}::timestamptz)
      where name = ${feed}`.execute(db)
  if (counts.size === 0) return
  const day = now.toISOString().slice(0, 10)
  const values = [...counts].map(([does, times]) => ({ feed, day, does, count: String(times) }))
  const more = { count: sql<string>`feed_day.count + excluded.count` }
  const add = db.insertInto('feed_day').values(values)
  await add.onConflict((on) => on.columns(['feed', 'day', 'does']).doUpdateSet(more)).execute()
}

async function figures(db: Db, feed: string, since: string): Promise<FeedFigures> {
  const one = db.selectFrom('feed').select(['heard_at', 'made_at']).where('name', '=', feed)
  const days = db.selectFrom('feed_day').selectAll().where('feed', '=', feed).where('day', '>=', since)
  const waits = db.selectFrom('feed_visit').select((each) => each.fn.countAll<string>().as('count'))
  const [row, counted, waiting] = await Promise.all([
    one.executeTakeFirst(),
    days.orderBy('day', 'desc').orderBy('does').execute(),
    waits.where('feed', '=', feed).where('waits', '=', true).executeTakeFirst(),
  ])
  return {
    ...{ heardAt: row?.heard_at ?? null, madeAt: row?.made_at ?? null, waiting: Number(waiting?.count ?? 0) },
    days: counted.map(({ day, does, count: times }) => ({
      ...{ day, does: does as CheckLine['does'], count: Number(times) },
    })),
  }
}
