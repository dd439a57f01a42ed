import type { Insertable } from 'kysely'
import type { Changed, KnownHere } from '../../../flows/ports/schedule.ts'
import type { SeriesEnd, TheirPatient, TheirVisit } from '../../../domain/schedule/known.ts'
import type { OurVisit } from '../../../domain/schedule/our-visit.ts'
import { seriesOf } from '../../../domain/schedule/our-view.ts'
import type { Registered } from '../../../domain/schedule/register.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import type { FeedTables, FeedVisitTable } from '../feed.tables.ts'
import { asJson } from '../prepared-statements.ts'
import { sealedField } from '../sealed-field.ts'

type SealedRow = { id: string; sealed: string }

export interface VisitKept {
  key: string
  row: Registered<TheirVisit>
  applied: OurVisit | null
  refused: OurVisit | null
}

/** Rows of what is known, as they are kept: found by keyed hashes, and read with the key only. */
export type FeedRows = ReturnType<typeof feedRows>

export function feedRows(vault: Vault) {
  const visits = sealedField<VisitKept>(vault, 'feed-visit')
  const patients = sealedField<{ id: string; row: Registered<TheirPatient> }>(vault, 'feed-patient')
  const aliases = sealedField<{ from: string; into: string }>(vault, 'feed-alias')
  const series = sealedField<{ series: string; end: SeriesEnd }>(vault, 'feed-series')
  const printOf = (feed: string, what: string, key: string) => vault.fingerprint(`feed ${feed} ${what} ${key}`)
  const prints = (feed: string) => ({
    visit: (key: string) => printOf(feed, 'visit', key),
    patient: (id: string) => printOf(feed, 'patient', id),
    series: (id: string) => printOf(feed, 'series', id),
    seen: (id: string) => printOf(feed, 'seen', id),
  })

  function visitRow(feed: string, key: string, here: KnownHere, now: Date) {
    const { visit, patient, series: ofSeries } = prints(feed)
    const row = here.known.visits.get(key) ?? {}
    const applied = here.known.applied.get(key) ?? null
    const kept = { key, row, applied, refused: here.refused.get(key) ?? null }
    const id = visit(key)
    return {
      ...{ id, feed, patient_print: row.patient ? patient(row.patient.value) : null },
      ...{ series_print: ofSeries(seriesOf(key)), sealed: visits.seal(kept, id) },
      ...{ booking_id: here.bookings.get(key) ?? null, clinic_id: applied?.clinic ?? null },
      ...{ visit_at: applied?.startsAt ?? row.startsAt?.value ?? null, waits: here.waits.has(key) },
      ...{ follow_up_id: here.calls.get(key) ?? null, changed_at: now },
    } satisfies FeedVisitTable
  }

  return {
    prints,
    openVisit: ({ id, sealed }: SealedRow): VisitKept => {
      const { key, row, applied, refused } = visits.open(sealed, [id])
      const told = row.startsAt && { value: row.startsAt.value && new Date(row.startsAt.value), by: row.startsAt.by }
      return {
        key,
        row: told ? { ...row, startsAt: told } : row,
        applied: applied && dated(applied),
        refused: refused && dated(refused),
      }
    },
    openPatient: ({ id, sealed }: SealedRow) => patients.open(sealed, [id]),
    openAlias: ({ id, sealed }: SealedRow) => aliases.open(sealed, [id]),
    openSeries: ({ id, sealed }: SealedRow) => {
      const { series: name, end } = series.open(sealed, [id])
      return { series: name, end: { ...end, from: new Date(end.from) } }
    },
    /** Writes what changed. */
    async write(db: Db, feed: string, here: KnownHere, changed: Changed, now: Date): Promise<void> {
      const { patient, series: ofSeries, seen } = prints(feed)
      const { known } = here
      await Promise.all([
        upsert(
          db,
          'feed_visit',
          [...changed.visits].map((key) => visitRow(feed, key, here, now)),
        ),
        upsert(
          db,
          'feed_patient',
          [...changed.patients].map((name) => {
            const id = patient(name)
            return {
              id,
              feed,
              sealed: patients.seal({ id: name, row: known.patients.get(name)! }, id),
              changed_at: now,
            }
          }),
        ),
        upsert(
          db,
          'feed_alias',
          [...changed.aliases].map((from) => {
            const [id, into] = [patient(from), known.aliases.get(from)!]
            return { id, into_id: patient(into), feed, sealed: aliases.seal({ from, into }, id), changed_at: now }
          }),
        ),
        upsert(
          db,
          'feed_series',
          [...changed.seriesEnds].map((name) => {
            const id = ofSeries(name)
            const sealed = series.seal({ series: name, end: known.seriesEnds.get(name)! }, id)
            return { id, feed, sealed, changed_at: now }
          }),
        ),
        upsert(
          db,
          'feed_seen',
          [...changed.seen].map((message) => ({ id: seen(message), at: now })),
        ),
        db
          .updateTable('feed')
          .set({ arrivals: String(known.arrivals) })
          .where('name', '=', feed)
          .execute(),
      ])
    },
  }
}

const dated = (visit: OurVisit): OurVisit => ({ ...visit, startsAt: new Date(visit.startsAt) })

type Keyed = 'feed_visit' | 'feed_patient' | 'feed_alias' | 'feed_series' | 'feed_seen'

/** As one parameter, a JSON document: see `insertInto`. */
async function upsert<Table extends Keyed>(
  db: Db,
  table: Table,
  rows: readonly Insertable<FeedTables[Table]>[],
): Promise<void> {
  const [first] = rows
  if (!first) return
  const names = Object.keys(first)
  const columns = names.map((name) => `"${name}"`).join(', ')
  const set = names.filter((name) => name !== 'id').map((name) => `"${name}" = excluded."${name}"`)
  await db.rows(
    {
      name: `daysix_upsert_${table}`,
      text: `insert into "${table}" (${columns}) select ${columns} from json_populate_recordset(null::"${table}", $1)
        on conflict (id) do update set ${set.join(', ')}`,
    },
    [asJson(rows)],
  )
}
