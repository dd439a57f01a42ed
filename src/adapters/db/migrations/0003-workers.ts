import { sql, type Kysely } from 'kysely'

/**
 * Who holds a claim. A worker says now and then that it lives; by the database's own clock, since the clocks of the
 * machines may jump or differ. What a silent one had claimed is looked after by the others.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table worker (
    id text primary key,
    seen_at timestamptz not null default now()
  )`,
  `alter table message add column claimed_by text`,
  // The mark is looked at apart from the sending, each with an index of its own.
  `create index message_prep_mark on message (not_after) where state = 'sent' and kind in ('prep', 'late-prep')`,
  // Keys of bookings long made are forgotten by age.
  `create index idempotency_age on idempotency (at)`,
]
