import { sql, type Insertable } from 'kysely'
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
export interface FeedRows {
  prints(feed: string): Prints
  openVisit(row: SealedRow): VisitKept
  openPatient(row: SealedRow): { id: string; row: Registered<TheirPatient> }
  openAlias(row: SealedRow): { from: string; into: string }
  openSeries(row: SealedRow): { series: string; end: SeriesEnd }
  /** Writes what changed. */
  write(db: Db, feed: string, here: KnownHere, changed: Changed, now: Date): Promise<void>
}

type Prints = Record<'visit' | 'patient' | 'series' | 'seen', (key: string) => string>

export function feedRows(vault: Vault): FeedRows {
  const fields = fieldsOf(vault)
  const prints = (feed: string): Prints => {
    const printOf = (what: string) => (key: string) => vault.fingerprint(`feed ${feed} ${what} ${key}`)
    return { visit: printOf('visit'), patient: printOf('patient'), series: printOf('series'), seen: printOf('seen') }
  }
  return {
    prints,
    openVisit: ({ id, sealed }) => {
      const { key, row, applied, refused } = fields.visit.open(sealed, [id])
      const told = row.startsAt && { value: row.startsAt.value && new Date(row.startsAt.value), by: row.startsAt.by }
      return {
        ...{ key, row: told ? { ...row, startsAt: told } : row },
        ...{ applied: applied && dated(applied), refused: refused && dated(refused) },
      }
    },
    openPatient: ({ id, sealed }) => fields.patient.open(sealed, [id]),
    openAlias: ({ id, sealed }) => fields.alias.open(sealed, [id]),
    openSeries: ({ id, sealed }) => {
      const { series, end } = fields.series.open(sealed, [id])
      return { series, end: { ...end, from: new Date(end.from) } }
    },
    write: (db, feed, here, changed, now) => write(db, { feed, fields, prints: prints(feed), now }, here, changed),
  }
}

const fieldsOf = (vault: Vault) => ({
  visit: sealedField<VisitKept>(vault, 'feed-visit'),
  patient: sealedField<{ id: string; row: Registered<TheirPatient> }>(vault, 'feed-patient'),
  alias: sealedField<{ from: string; into: string }>(vault, 'feed-alias'),
  series: sealedField<{ series: string; end: SeriesEnd }>(vault, 'feed-series'),
})

/** What every row of a feed is made with. */
interface Making {
  feed: string
  fields: ReturnType<typeof fieldsOf>
  prints: Prints
  now: Date
}

async function write(db: Db, making: Making, here: KnownHere, changed: Changed): Promise<void> {
  const { feed, fields, prints, now } = making
  const { patients, aliases, seriesEnds, arrivals } = here.known
  const common = { feed, changed_at: now }
  const patientRow = (name: string) => {
    const id = prints.patient(name)
    return { ...common, id, sealed: fields.patient.seal({ id: name, row: patients.get(name)! }, id) }
  }
  const aliasRow = (from: string) => {
    const [id, into] = [prints.patient(from), aliases.get(from)!]
    return { ...common, id, into_id: prints.patient(into), sealed: fields.alias.seal({ from, into }, id) }
  }
  const seriesRow = (series: string) => {
    const id = prints.series(series)
    return { ...common, id, sealed: fields.series.seal({ series, end: seriesEnds.get(series)! }, id) }
  }
  const visits = [...changed.visits].map((key) => visitRow(making, here, key))
  const seen = [...changed.seen].map((message) => ({ id: prints.seen(message), at: now }))
  await Promise.all([
    upsert(db, 'feed_visit', visits),
    upsert(db, 'feed_patient', [...changed.patients].map(patientRow)),
    upsert(db, 'feed_alias', [...changed.aliases].map(aliasRow)),
    upsert(db, 'feed_series', [...changed.seriesEnds].map(seriesRow)),
    upsert(db, 'feed_seen', seen),
    sql`update feed set arrivals = ${arrivals} where name = ${feed}`.execute(db),
  ])
}

function visitRow({ feed, fields, prints, now }: Making, here: KnownHere, key: string): FeedVisitTable {
  const { known, bookings, calls, refused, waits } = here
  const row = known.visits.get(key) ?? {}
  const applied = known.applied.get(key) ?? null
  const id = prints.visit(key)
  return {
    ...{ id, feed, patient_print: row.patient ? prints.patient(row.patient.value) : null },
    series_print: prints.series(seriesOf(key)),
    sealed: fields.visit.seal({ key, row, applied, refused: refused.get(key) ?? null }, id),
    ...{ booking_id: bookings.get(key) ?? null, clinic_id: applied?.clinic ?? null },
    ...{ visit_at: applied?.startsAt ?? row.startsAt?.value ?? null, waits: waits.has(key) },
    ...{ follow_up_id: calls.get(key) ?? null, changed_at: now },
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
