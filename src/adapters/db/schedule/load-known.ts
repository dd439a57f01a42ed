import { sql } from 'kysely'
import { nothingKnown } from '../../../domain/schedule/known.ts'
import type { Needs } from '../../../domain/schedule/needs.ts'
import type { KnownHere } from '../../../flows/ports/schedule.ts'
import type { Db } from '../connections.ts'
import type { FeedRows } from './feed-rows.ts'

interface VisitFound {
  id: string
  sealed: string
  patient_print: string | null
  booking_id: string | null
  follow_up_id: string | null
  waits: boolean
}

/** Locks the feed, so that its news is taken one after the other. @returns how many pieces of it came before */
export async function lockFeed(db: Db, feed: string): Promise<number> {
  await sql`insert into feed (name) values (${feed}) on conflict do nothing`.execute(db)
  const { rows } = await sql<{ arrivals: string }>`select arrivals from feed
    where name = ${feed} for update`.execute(db)
  return Number(rows[0]!.arrivals)
}

/** How many pieces of news of a feed came before. */
export async function arrivalsOf(db: Db, feed: string): Promise<number> {
  const row = await db.selectFrom('feed').select('arrivals').where('name', '=', feed).executeTakeFirst()
  return Number(row?.arrivals ?? 0)
}

/** What is needed of a feed. */
export async function loadKnown(
  db: Db,
  rows: FeedRows,
  needs: Needs,
  { feed, arrivals }: { feed: string; arrivals: number },
): Promise<KnownHere> {
  const prints = rows.prints(feed)
  const [visits, seen, ends, erased] = await Promise.all([
    visitsFor(db, rows, feed, needs),
    idsAmong(db, 'feed_seen', needs.messages.map(prints.seen)),
    sealedAmong(db, 'feed_series', needs.series.map(prints.series)),
    idsAmong(db, 'feed_erased', needs.visits.map(prints.visit)),
  ])
  const people = [...needs.patients.map(prints.patient), ...visits.flatMap(({ patient_print: id }) => id ?? [])]
  const aliases = await aliasesAround(db, people)
  const all = [...new Set([...people, ...aliases.flatMap(({ id, into_id: into }) => [id, into])])]
  const more = needs.wholePatients.length === 0 ? [] : await visitsOf(db, all)
  const patients = await sealedAmong(db, 'feed_patient', all)

  const known = nothingKnown()
  known.arrivals = arrivals
  const here: KnownHere = {
    ...{ known, bookings: new Map(), calls: new Map(), refused: new Map(), waits: new Set() },
    erased: new Set(needs.visits.filter((key) => erased.has(prints.visit(key)))),
  }
  for (const row of [...visits, ...more]) keepVisit(here, rows, row)
  for (const row of patients) {
    const { id, row: patient } = rows.openPatient(row)
    known.patients.set(id, patient)
  }
  for (const row of aliases) {
    const { from, into } = rows.openAlias(row)
    known.aliases.set(from, into)
  }
  for (const row of ends) {
    const { series, end } = rows.openSeries(row)
    known.seriesEnds.set(series, end)
  }
  for (const message of needs.messages) if (seen.has(prints.seen(message))) known.seen.add(message)
  return here
}

function keepVisit({ known, bookings, calls, refused, waits }: KnownHere, rows: FeedRows, found: VisitFound): void {
  const { key, row, applied, refused: was } = rows.openVisit(found)
  known.visits.set(key, row)
  if (applied) known.applied.set(key, applied)
  if (was) refused.set(key, was)
  if (found.waits) waits.add(key)
  if (found.booking_id !== null) bookings.set(key, found.booking_id)
  if (found.follow_up_id !== null) calls.set(key, found.follow_up_id)
}

const FOUND = sql.raw('id, sealed, patient_print, booking_id, follow_up_id, waits')

async function visitsFor(db: Db, rows: FeedRows, feed: string, needs: Needs): Promise<VisitFound[]> {
  const { visit, series } = rows.prints(feed)
  const keys = needs.visits.map(visit)
  const found = await sql<VisitFound>`select ${FOUND} from feed_visit where id = any(${keys}::text[])`.execute(db)
  const whole = needs.wholeSeries.map(series)
  const ofSeries =
    whole.length === 0
      ? []
      : (await sql<VisitFound>`select ${FOUND} from feed_visit where series_print = any(${whole}::text[])`.execute(db))
          .rows
  const within = []
  for (const { from, to } of needs.within)
    within.push(
      ...(
        await sql<VisitFound>`select ${FOUND} from feed_visit
          where feed = ${feed} and visit_at >= ${from} and visit_at < ${to}`.execute(db)
      ).rows,
    )
  return [...found.rows, ...ofSeries, ...within]
}

async function visitsOf(db: Db, patients: readonly string[]): Promise<VisitFound[]> {
  const { rows } =
    await sql<VisitFound>`select ${FOUND} from feed_visit where patient_print = any(${patients}::text[])`.execute(db)
  return rows
}

interface AliasFound {
  id: string
  into_id: string
  sealed: string
}

/** Whatever these were merged with, however often. */
async function aliasesAround(db: Db, patients: readonly string[]): Promise<AliasFound[]> {
  if (patients.length === 0) return []
  const { rows } = await sql<AliasFound>`
    with recursive around (id) as (
      select unnest(${[...new Set(patients)]}::text[])
      union
      select case when a.id = around.id then a.into_id else a.id end
        from around join feed_alias a on a.id = around.id or a.into_id = around.id
    )
    select a.id, a.into_id, a.sealed from feed_alias a where a.id in (select id from around)`.execute(db)
  return rows
}

async function idsAmong(db: Db, table: 'feed_seen' | 'feed_erased', ids: readonly string[]): Promise<Set<string>> {
  if (ids.length === 0) return new Set()
  const { rows } = await sql<{ id: string }>`select id from ${sql.table(table)} where id = any(${ids}::text[])`.execute(
    db,
  )
  return new Set(rows.map(({ id }) => id))
}

async function sealedAmong(
  db: Db,
  table: 'feed_series' | 'feed_patient',
  ids: readonly string[],
): Promise<{ id: string; sealed: string }[]> {
  if (ids.length === 0) return []
  const { rows } = await sql<{ id: string; sealed: string }>`select id, sealed from ${sql.table(table)}
    where id = any(${[...new Set(ids)]}::text[])`.execute(db)
  return rows
}
