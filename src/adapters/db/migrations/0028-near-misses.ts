import { sql, type Kysely } from 'kysely'

/** What went wrong or nearly did. It points at no patient and no visit, and outlives both. */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql
    .raw(
      `create table near_miss (
        id text primary key,
        clinic_id text not null references clinic (id),
        happened_at timestamptz not null,
        recorded_at timestamptz not null,
        kind text not null,
        reach text not null,
        sealed text not null,
        reviewed_at timestamptz,
        sealed_review text
      )`,
    )
    .execute(db)
  await sql.raw('create index near_miss_by_clinic on near_miss (clinic_id, happened_at, id)').execute(db)
}
