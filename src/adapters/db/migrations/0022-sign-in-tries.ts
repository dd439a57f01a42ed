import { sql, type Kysely } from 'kysely'

/**
 * Tries to sign in are counted apart from people: for a name that nobody has as for one that somebody has, and for each
 * address by itself, so that who guesses at one place keeps out nobody at another.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table sign_in_try (
     print text primary key,
     failures integer not null,
     locked_until timestamptz,
     at timestamptz not null
   )`,
  'create index sign_in_try_at on sign_in_try (at)',
  'alter table person drop column failures, drop column locked_until',
]
