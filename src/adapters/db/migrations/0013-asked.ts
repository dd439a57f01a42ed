import { sql, type Kysely } from 'kysely'

/** Questions whether a period has begun are looked at again some days later: was there an answer? */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`create index message_asked on message (sent_at)
    where kind in ('cycle-check', 'cycle-check-again') and state in ('sent', 'delivered', 'undelivered')`.execute(db)
}
