import type { Records, Store, Tx } from '../../flows/ports/deps.ts'
import type { Vault } from '../vault/vault.ts'
import { migrate } from './migrate.ts'
import { MADE_VISITS_LAST } from './migrations/0017-duration.ts'
import type { Database } from './pool.ts'
import { approvalRecords } from './messages/approval.records.ts'
import { bookingRecords } from './visits/booking.records.ts'
import { clinicRecords } from './region/clinic.records.ts'
import { connectionTo } from './connection.ts'
import { dispatchRecords } from './messages/dispatch.records.ts'
import { followUpRecords } from './calls/follow-up.records.ts'
import { feedRecords } from './schedule/feed.records.ts'
import { nearMissRecords } from './region/near-miss.records.ts'
import { eventRecords } from './visits/event.records.ts'
import { idempotencyRecords } from './visits/idempotency.records.ts'
import { messageRecords } from './messages/message.records.ts'
import { indexOlderPatients, optOutRecords, patientRecords } from './patients/patient.records.ts'
import { replyRecords } from './replies/reply.records.ts'
import { offerRecords } from './visits/offer.records.ts'
import { overlapsIn } from './visits/overlaps.ts'
import { slotRecords } from './visits/slot.records.ts'
import { standingRecords } from './messages/standing.records.ts'
import { workerRecords } from './messages/worker.records.ts'
import type { Db } from './connections.ts'
import { inTransaction } from './transaction.ts'

/** Made when they are asked for, and kept: most transactions need few of them, some need one often. */
function records(db: Db, vault: Vault): Records {
  const made: { -readonly [Room in keyof Records]?: Records[Room] } = {}
  return {
    get approvals() {
      return (made.approvals ??= approvalRecords(db))
    },
    get clinics() {
      return (made.clinics ??= clinicRecords(db))
    },
    get patients() {
      return (made.patients ??= patientRecords(db, vault))
    },
    get optOuts() {
      return (made.optOuts ??= optOutRecords(db, vault))
    },
    get bookings() {
      return (made.bookings ??= bookingRecords(db, vault))
    },
    get slots() {
      return (made.slots ??= slotRecords(db))
    },
    get offers() {
      return (made.offers ??= offerRecords(db))
    },
    get messages() {
      return (made.messages ??= messageRecords(db, vault))
    },
    get dispatch() {
      return (made.dispatch ??= dispatchRecords(db, vault))
    },
    get workers() {
      return (made.workers ??= workerRecords(db))
    },
    get standing() {
      return (made.standing ??= standingRecords(db))
    },
    get replies() {
      return (made.replies ??= replyRecords(db, vault))
    },
    get followUps() {
      return (made.followUps ??= followUpRecords(db, vault))
    },
    get events() {
      return (made.events ??= eventRecords(db, vault))
    },
    get idempotency() {
      return (made.idempotency ??= idempotencyRecords(db, vault))
    },
    get nearMisses() {
      return (made.nearMisses ??= nearMissRecords(db, vault))
    },
    get feeds() {
      return (made.feeds ??= feedRecords(db, vault))
    },
  }
}

/**
 * The store over an opened database, with its tables brought up to date first.
 * @param kept told where that kept visits which overlap at one clinician, as overbooked: how many pairs
 */
export async function openStore(
  database: Database,
  vault: Vault,
  kept: (overlaps: number) => void = () => {},
): Promise<Store> {
  const db: Db = connectionTo(database.records)
  const made = await migrate(database)
  const overlaps = made.includes(MADE_VISITS_LAST) ? (await overlapsIn(database)).length : 0
  if (overlaps > 0) kept(overlaps)
  await indexOlderPatients(db, vault)
  return {
    read: records(db, vault),
    transact: (work) => inTransaction(database.records, (trx: Db) => work(records(trx, vault) as Tx)),
  }
}
