import type { Session, SessionRecords } from '../../../flows/ports/access.ts'
import type { SessionTable } from './access.tables.ts'
import type { AccessDb } from '../connections.ts'

const toSession = (row: SessionTable): Session => ({
  hash: row.hash,
  personId: row.person_id,
  createdAt: row.created_at,
  seenAt: row.seen_at,
})

export function sessionRecords(db: AccessDb): SessionRecords {
  return {
    get: async (hash) => {
      const row = await db.selectFrom('session').selectAll().where('hash', '=', hash).executeTakeFirst()
      return row && toSession(row)
    },
    insert: async ({ hash, personId, createdAt, seenAt }) => {
      await db
        .insertInto('session')
        .values({ hash, person_id: personId, created_at: createdAt, seen_at: seenAt })
        .execute()
    },
    seen: async (hash, at) => {
      await db.updateTable('session').set({ seen_at: at }).where('hash', '=', hash).execute()
    },
    remove: async (hash) => {
      await db.deleteFrom('session').where('hash', '=', hash).execute()
    },
    removeOf: async (personId) => {
      await db.deleteFrom('session').where('person_id', '=', personId).execute()
    },
    removeStale: async (seenBefore, createdBefore) => {
      const gone = await db
        .deleteFrom('session')
        .where((eb) => eb.or([eb('seen_at', '<', seenBefore), eb('created_at', '<', createdBefore)]))
        .returning('hash')
        .execute()
      return gone.length
    },
  }
}
