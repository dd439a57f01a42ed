import type { NearMissKind, NearMissReach } from '../../domain/region/near-miss.ts'

export interface NearMissTable {
  id: string
  clinic_id: string
  happened_at: Date
  recorded_at: Date
  kind: NearMissKind
  reach: NearMissReach
  sealed: string
  reviewed_at: Date | null
  sealed_review: string | null
}
