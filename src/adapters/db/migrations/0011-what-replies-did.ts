import { sql, type Kysely } from 'kysely'

/**
 * What a reply has done stands beside it, so that a correction takes back just that: an offer says why it was made, a
 * call on which reply it was opened. A reply that waits for its visit to be named is found by itself; it was kept a
 * second time, as a thread of the number.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  // Of older offers nobody knows why: who cannot come must not be forgotten.
  `alter table offer add column reason text not null default 'cannot-come' check (reason in ('no-opening', 'cannot-come'))`,
  'alter table offer alter column reason drop default',
  // No reference: a reply is removed before the calls about it.
  'alter table follow_up add column reply_id text',
  'create index follow_up_reply on follow_up (reply_id) where reply_id is not null',
  'drop table thread',
  // Asked so long ago, it has been answered, or the visit is told of otherwise.
  `update reply set done = 'asked-long-ago' where done = 'asked-which' and received_at < now() - interval '2 days'`,
  `create index reply_asked on reply (received_at) where done = 'asked-which'`,
]
