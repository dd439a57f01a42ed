import type { EventEmitter } from 'node:events'

/** What Kysely and BullMQ need of a node-postgres pool; `pg.Pool` is one, the embedded store another. */
export interface QueryResult {
  rows: Record<string, unknown>[]
  rowCount: number
  command: string
}

/** A statement that a connection reads and plans once, and then knows by its name. */
export interface PreparedQuery {
  name: string
  text: string
  values: readonly unknown[]
}

export interface PoolClient extends EventEmitter {
  query(asked: string | PreparedQuery, params?: readonly unknown[]): Promise<QueryResult>
  release(destroy?: boolean): void
}

export interface Pool extends EventEmitter {
  /** Runs work as one transaction's context, where a query that strays outside it must be told apart. */
  within?<T>(work: () => Promise<T>): Promise<T>
  query(asked: string | PreparedQuery, params?: readonly unknown[]): Promise<QueryResult>
  connect(): Promise<PoolClient>
  end(): Promise<void>
}

/** An opened database: one pool for our tables, one for BullMQ's (the same one on the embedded store). */
export interface Database {
  kind: 'embedded' | 'postgres'
  /** It has all tables of this version already. */
  migrated?: boolean
  /** Its folder was open to others on this machine, and was shut. */
  wasOpen?: boolean
  records: Pool
  queue: Pool
  /** An image of an embedded database, gzipped; while it is made, nothing else is asked of it. */
  image?(): Promise<Uint8Array>
  close(): Promise<void>
}

/** Our tables live in this schema, BullMQ's in its own. */
export const SCHEMA = 'daysix'
export const QUEUE_SCHEMA = 'bullmq'
