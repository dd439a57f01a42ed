import type { IdempotencyRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import { sealedField } from '../sealed-field.ts'
import type { IdempotencyTable } from '../tables.ts'
import type { Db } from '../connections.ts'

type KeptRow = Pick<IdempotencyTable, 'request_hash' | 'status' | 'sealed' | 'at'>

const GET = prepared<KeptRow>('select request_hash, status, sealed, at from idempotency where key = $1')
const FORGET = prepared('delete from idempotency where at <= $1')
const REMOVE = prepared('delete from idempotency where key = $1')
const INSERT = insertInto('idempotency', ['key', 'request_hash', 'status', 'sealed', 'at'])

export function idempotencyRecords(db: Db, vault: Vault): IdempotencyRecords {
  const field = sealedField<unknown>(vault, 'answer')
  return {
    get: async (key) => {
      const [row] = await db.rows(GET, [key])
      return (
        row && {
          key,
          requestHash: row.request_hash,
          status: row.status,
          body: field.open(row.sealed, [key]),
          at: row.at,
        }
      )
    },
    forget: async (until) => {
      await db.write(FORGET, [until])
    },
    remove: (key) => db.write(REMOVE, [key]),
    put: ({ key, requestHash, status, body, at }) =>
      db.insert(INSERT, [{ key, request_hash: requestHash, status, sealed: field.seal(body, key), at }]),
  }
}
