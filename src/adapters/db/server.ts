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

  get #stream(): Duplex {
    return (this as unknown as { connection: { stream: Duplex } }).connection.stream
  }

  override query(...asked: unknown[]): never {
    if (!this.#corked) {
      this.#corked = true
      this.#stream.cork()
      process.nextTick(() => {
        this.#corked = false
        this.#stream.uncork()
      })
    }
    return (super.query as (...asked: unknown[]) => never)(...asked)
  }

  /** Whom the server does not let in goes at once: left to it, that kept a command from ending for a minute. */
  override connect(...[told]: unknown[]): never {
    const heard = (error: unknown) => {
      if (error) this.#stream.destroy()
      ;(told as (error: unknown) => void)(error)
    }
    return (super.connect as unknown as (told: typeof heard) => never)(heard)
  }
}

/** What the library takes these modes for, by its name: it would warn of each in many lines at every start. */
function plainMode(url: string): string {
  if (/[?&]uselibpqcompat=true/.test(url)) return url
  return url.replace(/([?&]sslmode=)(prefer|require|verify-ca)(?=&|$)/, '$1verify-full')
}

/** Opens pools to a PostgreSQL server (13 or newer). Connections are made when first needed. */
export async function openServer(url: string, poolSize = 10): Promise<Database> {
  const open = (schema: string, pipeline: boolean) =>
    new pg.Pool({
      Client: InOnePiece,
      connectionString: plainMode(url),
      max: poolSize,
      keepAlive: true,
      connectionTimeoutMillis: CONNECT_MS,
      pipeline,
      // Said once connected: a pooler does not hand on what comes with the first message, and PgBouncer refuses it.
      // eslint-disable-next-line @typescript-eslint/no-misused-promises -- the pool waits for it
      onConnect: (client) => client.query(`set search_path = ${schema}; set timezone = 'UTC'`),
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
