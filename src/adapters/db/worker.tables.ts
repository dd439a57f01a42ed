import type { Generated } from 'kysely'

/** The processes that send, with the moment each was last heard, by the database's clock. */
export interface WorkerTable {
  id: string
  seen_at: Generated<Date>
}

/** How the service stood at a moment. */
export interface FigureSampleTable {
  at: Date
  overdue: number
  oldest_seconds: number
  sent: number
  not_arrived: number
  urgent_calls: number
  workers: number
  sweep_seconds: number | null
}
