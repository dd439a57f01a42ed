import type { AccessRecords, AccessStore } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import type { AccessDb } from '../connections.ts'
import { connectionTo } from '../connection.ts'
import type { Database } from '../pool.ts'
import { apiKeyRecords } from './api-key.records.ts'
import { auditRecords } from './audit.records.ts'
import { personRecords } from './person.records.ts'
import { retentionRecords } from '../patients/retention.records.ts'
import { rightsRecords } from '../patients/rights.records.ts'
import { sendingStopRecords } from '../messages/sending-stop.records.ts'
import { signInTryRecords } from './sign-in-try.records.ts'
import { sessionRecords } from './session.records.ts'
import { whereaboutRecords } from './whereabout.records.ts'
import { inTransaction } from '../transaction.ts'

function records(db: AccessDb, vault: Vault): AccessRecords {
  return {
    persons: personRecords(db, vault),
    sessions: sessionRecords(db),
    tries: signInTryRecords(db, vault),
    apiKeys: apiKeyRecords(db),
    audit: auditRecords(db, vault),
    whereabouts: whereaboutRecords(db),
    rights: rightsRecords(db, vault),
    retention: retentionRecords(db, vault),
    sendingStops: sendingStopRecords(db, vault),
  }
}

/** Records of access and audit over an opened database whose tables are up to date (see `openStore`). */
export function openAccessStore(database: Database, vault: Vault): AccessStore {
  const db: AccessDb = connectionTo(database.records)
  return {
    read: records(db, vault),
    transact: (work) => inTransaction(database.records, (trx: AccessDb) => work(records(trx, vault))),
  }
}
