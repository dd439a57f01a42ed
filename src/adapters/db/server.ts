import type { Duplex } from 'node:stream'
import pg from 'pg'
import { QUEUE_SCHEMA, SCHEMA, type Database, type Pool } from './pool.ts'

/** A request must not wait for ever for a database that is away. */
const CONNECT_MS = 5_000

/**
 * What is asked for at once leaves in one piece: each message written by itself would be a call into the kernel of its
 * own, the dearest part of a short statement.
 */
class InOnePiece extends pg.Client {
  #corked = false

  override query(...asked: unknown[]): never {
    const { stream } = (this as unknown as { connection: { stream: Duplex } }).connection
    if (!this.#corked) {
      this.#corked = true
      stream.cork()
      process.nextTick(() => {
        this.#corked = false
        stream.uncork()
      })
    }
    return (super.query as (...asked: unknown[]) => never)(...asked)
  }
}

/** Opens pools to a PostgreSQL server (13 or newer). Connections are made when first needed. */
export async function openServer(url: string, poolSize = 10): Promise<Database> {
  const open = (schema: string, pipeline: boolean) =>
    new pg.Pool({
      Client: InOnePiece,
      connectionString: url,
      max: poolSize,
      keepAlive: true,
      connectionTimeoutMillis: CONNECT_MS,
      pipeline,
      options: `-c search_path=${schema} -c timezone=UTC`,
    })
  // Our transactions send what is asked for at once without waiting in between; BullMQ's were not written for that.
  const records = open(SCHEMA, true)
  const queue = open(QUEUE_SCHEMA, false)
  // An idle connection may break at any time (server restart); the pool replaces it. Unheard, the event ends the
  // process. The same for one that is in use, whose query fails for whoever made it.
  for (const pool of [records, queue])
    pool.on('error', () => {}).on('connect', (client) => void client.on('error', () => {}))
  return {
    kind: 'postgres',
    records: records as unknown as Pool,
    queue: queue as unknown as Pool,
    close: async () => {
      await Promise.all([records.end(), queue.end()])
    },
  }
}
