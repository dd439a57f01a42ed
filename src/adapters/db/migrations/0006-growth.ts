import { sql, type Kysely } from 'kysely'

/**
 * What a large region needs. A time may be taken for a booking that is written later in the same transaction: whether
 * it is free decides about the rest, so it is asked with the other questions. A clinic's call list is read by itself.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'alter table slot alter constraint slot_booking_id_fkey deferrable initially deferred',
  'create index follow_up_clinic_open on follow_up (clinic_id, urgency, opened_at, id) where closed_at is null',
  'create index follow_up_clinic_closed on follow_up (clinic_id, closed_at desc) where closed_at is not null',
]
