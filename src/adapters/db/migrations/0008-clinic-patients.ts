import { sql, type Kysely } from 'kysely'

/**
 * A patient belongs to a clinic: what is known of somebody is what was told to that clinic. A patient that several
 * clinics shared becomes one of each; consent stays with the clinic that wrote it down, everything else with the clinic
 * that it is about. A text belongs to the clinic whose visit it was about, or that had written to the number last.
 *
 * Kept answers to requests were told apart by an unkeyed hash of the whole request, from which a date can be guessed:
 * gone. Besides: what was said to whom by whose wish. `prompted` marks an answer to what the patient wrote, which goes
 * at any hour; `revision` says from now on only which plan a message belongs to. A refusal says why it is one. A visit
 * knows its first time and how often the patient has moved it.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const SPLIT_PATIENTS = [
  'alter table patient add column clinic_id text references clinic (id)',
  `create temp table share on commit drop as
    select patient_id as old_id, clinic_id,
      row_number() over (partition by patient_id order by min(created_at), clinic_id) as place
    from booking group by patient_id, clinic_id`,
  'alter table share add column new_id text',
  `update share set new_id = case place when 1 then old_id else old_id || 'c' || place end`,
  'update patient set clinic_id = share.clinic_id from share where share.old_id = patient.id and share.place = 1',
  `insert into patient (id, clinic_id, phone_print, language, channel, detail, sealed, words)
    select share.new_id, share.clinic_id, phone_print, language, channel, detail, sealed, words
    from share join patient on patient.id = share.old_id where share.place > 1`,
  // Whom nobody ever booked is of no clinic in particular: the first will do.
  'update patient set clinic_id = (select min(id) from clinic) where clinic_id is null',
  'alter table patient alter column clinic_id set not null',
  ...['booking', 'message', 'follow_up'].map(
    (table) => `update ${table} set patient_id = share.new_id from share
      where share.old_id = ${table}.patient_id and share.clinic_id = ${table}.clinic_id and share.place > 1`,
  ),
  // A consent is written down when a visit is booked or changed: it belongs to the newest visit made by then.
  `update consent set patient_id = share.new_id
    from share where share.old_id = consent.patient_id and share.clinic_id = (
      select booking.clinic_id from booking join share as other on other.new_id = booking.patient_id
      where other.old_id = consent.patient_id
      order by (booking.created_at <= consent.recorded_at + interval '1 minute') desc,
        case when booking.created_at <= consent.recorded_at + interval '1 minute' then booking.created_at end desc,
        booking.created_at
      limit 1)`,
  // A clinic may have lost its consent by this: a plan that no protocol made is made anew at the start, and the desk
  // told.
  `update booking set plan_basis = '' from share
    where share.new_id = booking.patient_id
      and exists (select from share as other where other.old_id = share.old_id and other.place > 1)`,
  'drop index patient_phone',
  'create index patient_phone on patient (phone_print, clinic_id)',
  'create index message_patient on message (patient_id)',
]

const PLACE_REPLIES = [
  'alter table reply add column clinic_id text references clinic (id)',
  'update reply set clinic_id = booking.clinic_id from booking where booking.id = reply.booking_id',
  `update reply set clinic_id = (
      select clinic_id from message where message.phone_print = reply.phone_print and message.sent_at <= reply.received_at
      order by message.sent_at desc limit 1)
    where clinic_id is null`,
  // Heard, and not yet acted on.
  'create index reply_unacted on reply (received_at) where done is null',
  `create table clinic_thread (id text primary key, phone_print text not null, clinic_id text not null references clinic (id), sealed text not null)`,
  `insert into clinic_thread (id, phone_print, clinic_id, sealed)
    select distinct thread.phone_print || ' ' || patient.clinic_id, thread.phone_print, patient.clinic_id, thread.sealed
    from thread join patient on patient.phone_print = thread.phone_print`,
  'drop table thread',
  'alter table clinic_thread rename to thread',
  'alter table thread rename constraint clinic_thread_pkey to thread_pkey',
  'alter table thread rename constraint clinic_thread_clinic_id_fkey to thread_clinic_id_fkey',
  'create index thread_phone on thread (phone_print)',
]

const STATEMENTS = [
  ...SPLIT_PATIENTS,
  ...PLACE_REPLIES,
  'delete from idempotency',
  'alter table message add column prompted boolean not null default false',
  'update message set prompted = true where revision is null',
  // The desk's own notices belong to no plan: a new plan must not take them back.
  `update message set revision = null where state in ('planned', 'queued') and kind in ('moved', 'answer') and revision is not null`,
  `alter table opt_out add column reason text not null default 'stop' check (reason in ('stop', 'wrong-person'))`,
  'alter table booking add column first_visit_at timestamptz',
  'update booking set first_visit_at = visit_at',
  'alter table booking alter column first_visit_at set not null',
  'alter table booking add column moves integer not null default 0',
  `update booking set moves = (
      select count(*) from happening where happening.booking_id = booking.id and what = 'moved' and by = 'patient')`,
]
