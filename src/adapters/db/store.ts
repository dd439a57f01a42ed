import { Kysely, PostgresDialect } from 'kysely'
import type { Records, Store, Tx } from '../../flows/ports.ts'
import type { Vault } from '../vault/vault.ts'
import { migrate } from './migrate.ts'
import type { Database } from './pool.ts'
import { bookingRecords } from './records/booking.records.ts'
import { clinicRecords } from './records/clinic.records.ts'
import { dispatchRecords, workerRecords } from './records/dispatch.records.ts'
import { followUpRecords, idempotencyRecords, trailRecords } from './records/follow-up.records.ts'
import { messageRecords } from './records/message.records.ts'
import { indexOlderPatients, optOutRecords, patientRecords } from './records/patient.records.ts'
import { replyRecords } from './records/reply.records.ts'
import { offerRecords, slotRecords } from './records/slot.records.ts'
import type { Db, Tables } from './tables.ts'
import { asTransaction } from './turnstile.ts'

function records(db: Db, vault: Vault): Records {
  return {
    clinics: clinicRecords(db),
    patients: patientRecords(db, vault),
    optOuts: optOutRecords(db, vault),
    bookings: bookingRecords(db, vault),
    slots: slotRecords(db),
    offers: offerRecords(db),
    messages: messageRecords(db, vault),
    dispatch: dispatchRecords(db, vault),
    workers: workerRecords(db),
    replies: replyRecords(db, vault),
    followUps: followUpRecords(db, vault),
    trail: trailRecords(db),
    idempotency: idempotencyRecords(db, vault),
  }
}

/** The store over an opened database, with its tables brought up to date first. */
export async function openStore(database: Database, vault: Vault): Promise<Store> {
  const db = new Kysely<Tables>({ dialect: new PostgresDialect({ pool: database.records as never }) })
  await migrate(database, db as never)
  await indexOlderPatients(db, vault)
  return {
    read: records(db, vault),
    transact: (work) => asTransaction(() => db.transaction().execute((trx) => work(records(trx, vault) as Tx))),
  }
}
