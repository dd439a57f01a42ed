import { sql, type Kysely } from 'kysely'

/**
 * Who may come in, who saw and changed what, and what became of data that were no longer needed. Names and secrets of
 * staff are sealed like patients'; what they sign in with is found by keyed hash.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table person (
    id text primary key,
    login_print text not null unique,
    subject_print text unique,
    role text not null check (role in ('desk', 'clinician', 'educator', 'administrator')),
    clinic_id text references clinic (id),
    password_hash text,
    totp_step bigint not null,
    failures integer not null,
    locked_until timestamptz,
    code_hash text unique,
    code_until timestamptz,
    disabled_at timestamptz,
    created_at timestamptz not null,
    sealed text not null
  )`,
  `create table session (
    hash text primary key,
    person_id text not null references person (id),
    created_at timestamptz not null,
    seen_at timestamptz not null
  )`,
  `create index session_person on session (person_id)`,
  `create index session_seen on session (seen_at)`,
  `create table api_key (
    id text primary key,
    hash text not null,
    name text not null,
    may text not null,
    clinic_id text references clinic (id),
    created_at timestamptz not null,
    expires_at timestamptz,
    revoked_at timestamptz,
    used_at timestamptz
  )`,
  `create table audit (
    seq bigint primary key,
    at timestamptz not null,
    actor_kind text not null,
    actor_id text not null,
    what text not null,
    clinic_id text,
    facts text not null,
    previous text not null,
    hash text not null
  )`,
  `create index audit_actor on audit (actor_id, seq)`,
  `create index audit_at on audit (at)`,
  `create table audit_subject (
    subject text not null,
    seq bigint not null references audit (seq) on delete cascade,
    primary key (subject, seq)
  )`,
  // The newest link of the chain; locking it makes appending one at a time, in whichever process.
  `create table audit_head (one boolean primary key default true check (one), seq bigint not null, hash text not null)`,
  `insert into audit_head (seq, hash) values (0, '')`,
  // The record is only ever added to. Its daily pruning says so to the database, and leaves an entry of its own.
  `create function audit_only_grows() returns trigger language plpgsql as $$
    begin
      if tg_op = 'DELETE' and current_setting('daysix.pruning', true) = 'on' then return old; end if;
      raise exception 'the audit record only grows';
    end $$`,
  `create trigger audit_only_grows before update or delete on audit for each row execute function audit_only_grows()`,
  `create trigger audit_never_emptied before truncate on audit for each statement execute function audit_only_grows()`,
  `create table retention_run (
    id bigint generated always as identity primary key,
    at timestamptz not null,
    counts text not null
  )`,
  // All that is left of erased patients.
  `create table erased_count (
    month text not null,
    clinic_id text not null references clinic (id),
    what text not null,
    count integer not null,
    primary key (month, clinic_id, what)
  )`,
  // A value that only the right look-up key makes: with a wrong one every patient would seem unknown and no STOP be
  // found.
  `create table key_check (one boolean primary key default true check (one), print text not null)`,
]
