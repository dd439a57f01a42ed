import type { IdempotencyRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import type { Db, IdempotencyTable } from '../tables.ts'

type KeptRow = Pick<IdempotencyTable, 'request_hash' | 'status' | 'sealed'>

const GET = prepared<KeptRow>('select request_hash, status, sealed from idempotency where key = $1')
const INSERT = insertInto('idempotency', ['key', 'request_hash', 'status', 'sealed', 'at'])

export function idempotencyRecords(db: Db, vault: Vault): IdempotencyRecords {
  return {
    get: async (key) => {
      const [row] = await db.rows(GET, [key])
      return row && { key, requestHash: row.request_hash, status: row.status, body: JSON.parse(vault.open(row.sealed)) as unknown }
    },
    forget: async (before) => {
      await db.deleteFrom('idempotency').where('at', '<', before).execute()
    },
    put: ({ key, requestHash, status, body }, at) =>
      db.insert(INSERT, [{ key, request_hash: requestHash, status, sealed: vault.seal(JSON.stringify(body)), at }]),
  }
}
