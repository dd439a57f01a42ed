import { sql, type Selectable } from 'kysely'
import type { NearMiss } from '../../../domain/region/near-miss.ts'
import type { NearMissQuery, NearMissRecords } from '../../../flows/ports/near-misses.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { NearMissTable } from '../near-miss.table.ts'

type Sealed = Pick<NearMiss, 'words' | 'told' | 'by'>
type SealedReview = Omit<NonNullable<NearMiss['review']>, 'at'>

const unreadable = (): Sealed => ({ words: UNREADABLE, told: UNREADABLE, by: UNREADABLE })
const unreadableReview = (): SealedReview => ({ change: UNREADABLE, by: UNREADABLE })

/** What people wrote of each other's slips is sealed, though it names no patient. */
export function nearMissRecords(db: Db, vault: Vault): NearMissRecords {
  const field = sealedField<Sealed>(vault, 'near-miss')
  const reviews = sealedField<SealedReview>(vault, 'near-miss-review')
  const toNearMiss = (row: Selectable<NearMissTable>): NearMiss => ({
    ...{ id: row.id, clinicId: row.clinic_id, kind: row.kind, reach: row.reach },
    ...{ happenedAt: row.happened_at, recordedAt: row.recorded_at },
    ...field.open(row.sealed, [row.id], unreadable),
    review:
      row.reviewed_at && row.sealed_review
        ? { at: row.reviewed_at, ...reviews.open(row.sealed_review, [row.id], unreadableReview) }
        : null,
  })
  return {
    get: async (id) => {
      const row = await db.selectFrom('near_miss').selectAll().where('id', '=', id).executeTakeFirst()
      return row && toNearMiss(row)
    },
    list: async (query) => (await page(db, query)).map(toNearMiss),
    insert: async ({ id, clinicId, happenedAt, recordedAt, kind, reach, words, told, by }) => {
      const sealed = field.seal({ words, told, by }, id)
      const row = { id, clinic_id: clinicId, happened_at: happenedAt, recorded_at: recordedAt, kind, reach, sealed }
      await db.insertInto('near_miss').values(row).execute()
    },
    review: async (id, { at, change, by }) => {
      const set = { reviewed_at: at, sealed_review: reviews.seal({ change, by }, id) }
      const open = db.updateTable('near_miss').set(set).where('id', '=', id).where('reviewed_at', 'is', null)
      return (await open.executeTakeFirst()).numUpdatedRows === 1n
    },
  }
}

function page(db: Db, { clinicId, before, limit }: NearMissQuery): Promise<Selectable<NearMissTable>[]> {
  let query = db.selectFrom('near_miss').selectAll().orderBy('happened_at', 'desc').orderBy('id', 'desc').limit(limit)
  if (clinicId !== undefined) query = query.where('clinic_id', '=', clinicId)
  if (before) query = query.where(sql<boolean>`(happened_at, id) < (${before.happenedAt}, ${before.id})`)
  return query.execute()
}
