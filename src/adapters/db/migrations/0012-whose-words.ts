import { sql, type Kysely } from 'kysely'

/**
 * Whose words they are. A reply names the patient who wrote it, where only one can have, so that it
 * is found after the number has changed. A message says whether a person wrote it: its loss is
 * somebody's to know. A call is found by the number that it is about, where it is about no visit.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'alter table reply add column patient_id text references patient (id)',
  'update reply set patient_id = booking.patient_id from booking where booking.id = reply.booking_id',
  `update reply set patient_id = patient.id from patient
    where reply.booking_id is null and patient.clinic_id = reply.clinic_id
      and patient.phone_print = reply.phone_print
      and not exists (select from patient as other where other.clinic_id = patient.clinic_id
        and other.phone_print = patient.phone_print and other.id <> patient.id)`,
  'create index reply_patient on reply (patient_id)',
  'alter table message add column by_hand boolean not null default false',
  `update message set by_hand = true where id in (
    select facts::jsonb ->> 'message' from happening where what = 'written-by-hand')`,
  'alter table follow_up add column phone_print text',
  // Of a call about nobody known the number is sealed: only new ones are found by it.
  `update follow_up set phone_print = patient.phone_print from patient
    where patient.id = follow_up.patient_id and follow_up.closed_at is null`,
  'create index follow_up_phone on follow_up (phone_print) where closed_at is null',
]
