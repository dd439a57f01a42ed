import { sql, type Kysely } from 'kysely'

/**
 * What running it asks for: how far the clock of a worker is off, when a backup was made, and the oldest code that may
 * go on with these tables (`schema_floor`): a migration that takes away what older code needs raises it to its own
 * name.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'alter table worker add column clock_offset_ms integer',
  `create table backup_run (
    at timestamptz primary key,
    outcome text not null,
    bytes bigint,
    detail text
  )`,
  'create table schema_floor (needs text not null)',
  `create unique index schema_floor_one on schema_floor ((true))`,
  `insert into schema_floor (needs) values ('0026-operating')`,
]
