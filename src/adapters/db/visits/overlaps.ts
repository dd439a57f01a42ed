import { MADE_VISITS_LAST, USUAL_MINUTES } from '../migrations/0017-duration.ts'
import { pendingMigrations } from '../migrate.ts'
import type { Database } from '../pool.ts'

/** A visit as an operator may see it: no names. */
export interface Overlapping {
  bookingId: string
  at: Date
}

/** Two visits of one clinician of which the second begins during the first. */
export interface Overlap {
  clinicId: string
  clinician: string
  zone: string
  first: Overlapping
  second: Overlapping
}

/** What a database is still to be brought up to, and which visits that concerns. */
export interface MigrationCheck {
  pending: string[]
  /** Visits do not have a length yet: those that overlap will be kept as overbooked. Else they are so now. */
  willKeep: boolean
  overlaps: Overlap[]
}

/**
 * Says what a migration would do, and changes nothing.
 * @param now of visits that are overbooked already, only those to come are listed
 */
export async function checkMigration(database: Database, now: Date): Promise<MigrationCheck> {
  const pending = await pendingMigrations(database)
  const willKeep = pending.includes(MADE_VISITS_LAST)
  const isEmpty = pending.includes('0001-first')
  const overlaps = isEmpty ? [] : await overlapsIn(database, willKeep ? { minutes: USUAL_MINUTES } : { after: now })
  return { pending, willKeep, overlaps }
}

/**
 * Pairs of visits that overlap at one clinician, by the time of the second.
 * @param minutes how long each lasts, in a database that does not know it yet
 * @param after only those of which the second ends after it; all without
 */
export async function overlapsIn(
  database: Database,
  { minutes, after = new Date(0) }: { minutes?: number; after?: Date } = {},
): Promise<Overlap[]> {
  const end = (of: string) =>
    minutes === undefined ? `${of}.ends_at` : `${of}.starts_at + interval '${minutes} minutes'`
  const { rows } = await database.records.query(
    `select one.clinic_id, one.clinician, booking.zone, one.booking_id as first_id, one.starts_at as first_at,
      two.booking_id as second_id, two.starts_at as second_at
    from slot one join slot two on two.clinic_id = one.clinic_id and two.clinician = one.clinician
      and two.booking_id <> one.booking_id and two.starts_at < ${end('one')}
      and (two.starts_at, two.id) > (one.starts_at, one.id)
    join booking on booking.id = two.booking_id
    where one.state = 'taken' and two.state = 'taken' and ${end('two')} > $1
    order by two.starts_at, one.starts_at, two.id`,
    [after],
  )
  return rows.map((row) => ({
    ...{ clinicId: String(row.clinic_id), clinician: String(row.clinician), zone: String(row.zone) },
    first: { bookingId: String(row.first_id), at: row.first_at as Date },
    second: { bookingId: String(row.second_id), at: row.second_at as Date },
  }))
}
