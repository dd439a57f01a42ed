import { sql, type Kysely } from 'kysely'

/**
 * When a number was last heard by a clinic, of the replies that retention has removed: without it a number from which
 * somebody writes, behind a gateway that sends no receipts, would be taken for a silent one.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  await sql
    .raw(
      `create table sign_of_life (
        phone_print text not null,
        clinic_id text not null references clinic,
        seen_at timestamptz not null,
        primary key (phone_print, clinic_id)
      )`,
    )
    .execute(db)
}
