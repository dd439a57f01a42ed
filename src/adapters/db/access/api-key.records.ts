import { isPermission } from '../../../domain/access/roles.ts'
import type { ApiKey, ApiKeyRecords } from '../../../flows/ports/access.ts'
import type { ApiKeyTable } from './access.tables.ts'
import type { AccessDb } from '../connections.ts'

const toKey = (row: ApiKeyTable): ApiKey => ({
  id: row.id,
  hash: row.hash,
  name: row.name,
  // A permission that no longer exists is worth nothing.
  may: (JSON.parse(row.may) as string[]).filter(isPermission),
  clinicId: row.clinic_id,
  createdAt: row.created_at,
  expiresAt: row.expires_at,
  revokedAt: row.revoked_at,
  usedAt: row.used_at,
})

export function apiKeyRecords(db: AccessDb): ApiKeyRecords {
  return {
    get: async (id) => {
      const row = await db.selectFrom('api_key').selectAll().where('id', '=', id).executeTakeFirst()
      return row && toKey(row)
    },
    list: async () =>
      (await db.selectFrom('api_key').selectAll().orderBy('created_at').orderBy('id').execute()).map(toKey),
    insert: async (key) => {
      await db
        .insertInto('api_key')
        .values({
          id: key.id,
          hash: key.hash,
          name: key.name,
          may: JSON.stringify(key.may),
          clinic_id: key.clinicId,
          created_at: key.createdAt,
          expires_at: key.expiresAt,
          revoked_at: key.revokedAt,
          used_at: key.usedAt,
        })
        .execute()
    },
    used: async (id, at) => {
      await db.updateTable('api_key').set({ used_at: at }).where('id', '=', id).execute()
    },
    revoke: async (id, at) => {
      const revoked = await db
        .updateTable('api_key')
        .set({ revoked_at: at })
        .where('id', '=', id)
        .where('revoked_at', 'is', null)
        .returning('id')
        .executeTakeFirst()
      return revoked !== undefined
    },
  }
}
