import { sql, type Kysely } from 'kysely'

/**
 * What the desk's pages look things up by. Names are sealed, so a name is found by keyed hashes of its words and of the
 * beginnings of its words (`patient_word`), never by the name itself.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table patient_word (
    print text not null,
    patient_id text not null references patient (id) on delete cascade,
    primary key (print, patient_id)
  )`,
  `create index patient_word_patient on patient_word (patient_id)`,
  `create index reply_received on reply (received_at desc, id desc)`,
  `create index follow_up_closed on follow_up (closed_at desc) where closed_at is not null`,
  `create index message_ended on message (ended_at) where state in ('failed', 'undelivered', 'expired')`,
]
