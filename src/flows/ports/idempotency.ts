import type { Pipelined } from './pipelined.ts'

export interface KeptAnswer {
  key: string
  requestHash: string
  status: number
  body: unknown
  at: Date
}

export interface IdempotencyRecords {
  get(key: string): Promise<KeptAnswer | undefined>
  put(answer: KeptAnswer): Pipelined
  remove(key: string): Pipelined
  /** Forgets answers given up to then. */
  forget(until: Date): Promise<void>
}
