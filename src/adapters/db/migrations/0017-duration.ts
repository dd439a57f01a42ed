import { sql, type Kysely } from 'kysely'

/**
 * Visits last, and nobody collects from two patients at once. What is taken or held has an end, and PostgreSQL itself
 * refuses that two of one clinician overlap, unless the desk overbooks on purpose. Visits that overlap already are
 * kept, as overbooked. A free time has no end: how much of it is needed depends on who comes; `minutes` is how long
 * it lasts where that was told. `is_busy` says whether somebody other than this booking is there for some of a time.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

/** How this migration is called. */
export const MADE_VISITS_LAST = '0017-duration'
/** How long visits of before are taken to last. */
export const USUAL_MINUTES = 10
const LONGEST_MINUTES = 240

const OVERLAPPING = `select from slot other where other.clinic_id = slot.clinic_id and other.clinician = slot.clinician
  and other.booking_id <> slot.booking_id and other.starts_at < slot.ends_at and other.ends_at > slot.starts_at`

const STATEMENTS = [
  'create extension if not exists btree_gist',
  `alter table booking add column minutes integer not null default ${USUAL_MINUTES}`,
  `alter table slot
    add column minutes integer,
    add column ends_at timestamptz,
    add column overbooked boolean not null default false`,
  `update slot set ends_at = starts_at + interval '${USUAL_MINUTES} minutes' where state <> 'free'`,
  // Held beside somebody who is there: nobody could come. Whoever was offered it is offered another.
  `update slot set state = 'free', booking_id = null, held_until = null, ends_at = null
    where state = 'held' and exists (${OVERLAPPING} and (other.state = 'taken' or other.id < slot.id))`,
  // Whoever begins while another is there; of two that begin at once there was only ever one.
  `update slot set overbooked = true
    where state = 'taken' and exists (${OVERLAPPING} and other.starts_at < slot.starts_at)`,
  // What a deferred constraint has still to check of these rows would stand in the way of changing their table.
  'set constraints all immediate',
  'alter table slot drop constraint slot_clinic_id_clinician_starts_at_key',
  'create unique index slot_time on slot (clinic_id, clinician, starts_at) where not overbooked',
  `alter table slot add constraint slot_ends check (
    (state = 'free') = (ends_at is null) and ends_at > starts_at and (state = 'taken' or not overbooked))`,
  `alter table slot add constraint slot_one_at_a_time exclude using gist
    (clinic_id with =, clinician with =, booking_id with <>, tstzrange(starts_at, ends_at) with &&)
    where (ends_at is not null and not overbooked)`,
  'create index slot_busy on slot (clinic_id, clinician, starts_at) where ends_at is not null',
  // Begins no earlier than the longest visit before, so that an index finds it.
  `create function is_busy(
      clinic text, collector text, at timestamptz, for_minutes integer, booking text, now timestamptz)
    returns boolean language sql stable as $$ select exists (select from slot
      where clinic_id = clinic and clinician = collector and ends_at is not null
        and starts_at > at - interval '${LONGEST_MINUTES} minutes' and ends_at > at
        and starts_at < at + for_minutes * interval '1 minute'
        and booking_id <> booking and (state = 'taken' or held_until > now)) $$`,
]
