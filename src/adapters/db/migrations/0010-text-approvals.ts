import { sql, type Kysely } from 'kysely'

/**
 * Who approved which words. It is the site's to say, so it is kept here and not beside the texts that come with Daysix,
 * and every process sees it. One row is one text and a digest of its very words: other words are other rows.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`create table text_approval (
    language text not null,
    key text not null,
    digest text not null,
    approved_by text not null,
    approved_on text not null,
    recorded_at timestamptz not null,
    primary key (language, key, digest)
  )`.execute(db)
}
