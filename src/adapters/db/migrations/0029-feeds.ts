import { sql, type Kysely } from 'kysely'

const STATEMENTS = [
  `create table feed (
    name text primary key,
    arrivals bigint not null default 0,
    heard_at timestamptz,
    polled_to timestamptz,
    made_at timestamptz
  )`,
  `create table feed_visit (
    id text primary key,
    feed text not null,
    patient_print text,
    series_print text not null,
    sealed text not null,
    booking_id text references booking (id) on delete cascade,
    clinic_id text,
    visit_at timestamptz,
    waits boolean not null default false,
    follow_up_id text,
    changed_at timestamptz not null
  )`,
  'create index feed_visit_by_patient on feed_visit (patient_print)',
  'create index feed_visit_by_series on feed_visit (series_print)',
  'create index feed_visit_by_time on feed_visit (feed, visit_at)',
  'create index feed_visit_by_booking on feed_visit (booking_id)',
  'create index feed_visit_waiting on feed_visit (feed) where waits',
  `create table feed_patient (
    id text primary key,
    feed text not null,
    sealed text not null,
    changed_at timestamptz not null
  )`,
  `create table feed_alias (
    id text primary key,
    into_id text not null,
    feed text not null,
    sealed text not null,
    changed_at timestamptz not null
  )`,
  'create index feed_alias_into on feed_alias (into_id)',
  `create table feed_series (
    id text primary key,
    feed text not null,
    sealed text not null,
    changed_at timestamptz not null
  )`,
  `create table feed_seen (
    id text primary key,
    at timestamptz not null
  )`,
  'create index feed_seen_by_time on feed_seen (at)',
  `create table feed_day (
    feed text not null,
    day text not null,
    does text not null,
    count bigint not null,
    primary key (feed, day, does)
  )`,
  `create table feed_fault (
    id text primary key,
    feed text not null,
    at timestamptz not null,
    does text not null,
    clinic_id text,
    sealed text not null
  )`,
  'create index feed_fault_by_time on feed_fault (feed, at, id)',
  `create table feed_code (
    feed text not null,
    part text not null,
    code text not null,
    ours text not null,
    at timestamptz not null,
    primary key (feed, part, code)
  )`,
  `create table feed_telling (
    id text primary key,
    feed text not null,
    booking_id text not null references booking (id) on delete cascade,
    sealed text not null,
    made_at timestamptz not null,
    due_at timestamptz not null,
    failures integer not null default 0,
    ended_at timestamptz,
    ended text
  )`,
  'create index feed_telling_due on feed_telling (due_at) where ended_at is null',
  'create index feed_telling_by_booking on feed_telling (booking_id)',
  `create table feed_resource (
    id text primary key,
    feed text not null,
    version integer not null,
    at timestamptz not null,
    visit_id text,
    identifier_prints text[] not null,
    sealed text not null
  )`,
  'create index feed_resource_by_visit on feed_resource (visit_id)',
  'create index feed_resource_by_identifier on feed_resource using gin (identifier_prints)',
  `create table feed_erased (
    id text primary key
  )`,
]
/**
 * What is known of schedules that are kept elsewhere. Keys are keyed hashes; ids, names and numbers as the sender has
 * them are sealed.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}
