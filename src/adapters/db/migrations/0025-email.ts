import { sql, type Kysely } from 'kysely'

/** E-mail is a third channel: what is allowed grows, so that the version before goes on. */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const table of ['patient', 'consent']) {
    await sql.raw(`alter table ${table} drop constraint if exists ${table}_channel_check`).execute(db)
    await sql
      .raw(`alter table ${table} add constraint ${table}_channel_check check (channel in ('sms', 'voice', 'email'))`)
      .execute(db)
  }
  await sql
    .raw(`create index message_unread on message (sent_at) where state = 'sent' and channel = 'email'`)
    .execute(db)
}
