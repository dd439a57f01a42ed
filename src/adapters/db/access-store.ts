import { Kysely, PostgresDialect } from 'kysely'
import type { AccessRecords, AccessStore } from '../../flows/access-ports.ts'
import type { Vault } from '../vault/vault.ts'
import type { AccessDb, AllTables } from './access-tables.ts'
import type { Database } from './pool.ts'
import { apiKeyRecords } from './records/api-key.records.ts'
import { auditRecords } from './records/audit.records.ts'
import { personRecords } from './records/person.records.ts'
import { retentionRecords } from './records/retention.records.ts'
import { rightsRecords } from './records/rights.records.ts'
import { sendingStopRecords } from './records/sending-stop.records.ts'
import { sessionRecords } from './records/session.records.ts'
import { whereaboutRecords } from './records/whereabout.records.ts'
import { inTransaction } from './transaction.ts'

function records(db: AccessDb, vault: Vault): AccessRecords {
  return {
    persons: personRecords(db, vault),
    sessions: sessionRecords(db),
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
  const db: AccessDb = new Kysely<AllTables>({ dialect: new PostgresDialect({ pool: database.records as never }) })
  return {
    read: records(db, vault),
    transact: (work) => inTransaction(database.records, (trx: AccessDb) => work(records(trx, vault))),
  }
}
