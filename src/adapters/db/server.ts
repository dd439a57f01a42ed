import pg from 'pg'
import { QUEUE_SCHEMA, SCHEMA, type Database, type Pool } from './pool.ts'

/** A request must not wait for ever for a database that is away. */
const CONNECT_MS = 5_000

/** Opens pools to a PostgreSQL server (13 or newer). Connections are made when first needed. */
export async function openServer(url: string, poolSize = 10): Promise<Database> {
  const open = (schema: string) =>
    new pg.Pool({ connectionString: url, max: poolSize, keepAlive: true, connectionTimeoutMillis: CONNECT_MS, options: `-c search_path=${schema} -c timezone=UTC` })
  const records = open(SCHEMA)
  const queue = open(QUEUE_SCHEMA)
  // An idle connection may break at any time (server restart); the pool replaces it. Unheard, the event ends the process.
  // The same for one that is in use, whose query fails for whoever made it.
  for (const pool of [records, queue]) pool.on('error', () => {}).on('connect', (client) => void client.on('error', () => {}))
  return {
    kind: 'postgres',
    records: records as unknown as Pool,
    queue: queue as unknown as Pool,
    close: async () => {
      await Promise.all([records.end(), queue.end()])
    },
  }
}
