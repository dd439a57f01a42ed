import { sql, type Kysely } from 'kysely'

/** A time may be taken for a booking that is written later in the same transaction: whether it is free decides about the rest. */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql`alter table slot alter constraint slot_booking_id_fkey deferrable initially deferred`.execute(db)
}
