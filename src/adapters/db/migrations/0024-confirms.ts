import { sql, type Kysely } from 'kysely'

/** Preparation that is due when a visit is booked confirms the visit in the same message. */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql.raw('alter table message add column confirms boolean not null default false').execute(db)
}
