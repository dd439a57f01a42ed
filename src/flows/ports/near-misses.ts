import type { NearMiss } from '../../domain/region/near-miss.ts'

export interface NearMissQuery {
  /** One clinic; every clinic without it. */
  clinicId?: string
  /** Keyset page: those that happened before this one. */
  before?: { happenedAt: Date; id: string }
  limit: number
}

export interface NearMissRecords {
  get(id: string): Promise<NearMiss | undefined>
  /** Latest first. */
  list(query: NearMissQuery): Promise<NearMiss[]>
  insert(nearMiss: NearMiss): Promise<void>
  /** False where somebody has reviewed it. */
  review(id: string, review: NonNullable<NearMiss['review']>): Promise<boolean>
}
