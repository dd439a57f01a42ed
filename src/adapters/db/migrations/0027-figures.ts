import { sql, type Kysely } from 'kysely'

/**
 * How the service did, every five minutes of a week: figures only. Whoever writes a moment first has written it. What
 * was sent in an hour is counted for it, so that needs an index of its own.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql
    .raw(
      `create table figure_sample (
        at timestamptz primary key,
        overdue integer not null,
        oldest_seconds integer not null,
        sent integer not null,
        not_arrived integer not null,
        urgent_calls integer not null,
        workers integer not null,
        sweep_seconds real
      )`,
    )
    .execute(db)
  await sql.raw('create index message_sent_at on message (sent_at) where sent_at is not null').execute(db)
}
