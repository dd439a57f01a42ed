import { sql, type Kysely } from 'kysely'

/**
 * What is held on a patient is gathered, and erased, by these columns; so is what refers to a message that goes. Each
 * is null for most rows of its table, but for an offer's.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  'create index message_fallback on message (fallback_of) where fallback_of is not null',
  'create index follow_up_patient on follow_up (patient_id) where patient_id is not null',
  'create index reply_booking on reply (booking_id) where booking_id is not null',
  'create index offer_booking on offer (booking_id)',
]
