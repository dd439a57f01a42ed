import { sql, type Kysely } from 'kysely'

/**
 * Parts of long texts, which were lost with the process that had them: those that patients write, until the text is
 * whole and heard; and the peer's ids of those that were sent, until their receipts have come.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table long_reply (
     id text primary key,
     gateway text not null,
     text_print text not null,
     phone_print text not null,
     total integer not null,
     part_prints text[] not null,
     sealed text,
     came_at timestamptz not null,
     closed_at timestamptz,
     heard_at timestamptz
   )`,
  // One of a name to which parts are still added: workers that get parts at the same moment wait for each other at it.
  'create unique index long_reply_open on long_reply (text_print) where closed_at is null',
  'create index long_reply_text on long_reply (text_print)',
  'create index long_reply_waiting on long_reply (came_at) where heard_at is null',
  'create index long_reply_heard on long_reply (heard_at) where heard_at is not null',
  'create index long_reply_phone on long_reply (phone_print)',
  `create table sent_part (
     gateway text not null,
     ref text not null,
     sending text,
     message_id text,
     parts integer,
     state text check (state in ('delivered', 'undelivered')),
     code text,
     at timestamptz not null,
     primary key (gateway, ref)
   )`,
  'create index sent_part_sending on sent_part (sending)',
  'create index sent_part_message on sent_part (message_id)',
  "create index sent_part_delivered on sent_part (gateway, sending) where state = 'delivered'",
  'create index sent_part_at on sent_part (at)',
]
