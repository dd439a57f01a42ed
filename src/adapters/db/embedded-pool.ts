import { EventEmitter } from 'node:events'
import type pg from 'pg'
import type { Pool, PoolClient, PreparedQuery, QueryResult } from './pool.ts'
import { Turnstile, asTransaction } from './turnstile.ts'

const BEGINS = /^\s*(begin|start\s+transaction)\b/i
const ENDS = /^\s*(commit|rollback)\s*;?\s*$/i

const textOf = (asked: string | PreparedQuery) => (typeof asked === 'string' ? asked : asked.text)

/**
 * PostgreSQL inside this process (PGlite), with the outward shape of a node-postgres pool.
 * PGlite has a single session, so its clients take turns: one statement each, or a whole transaction from BEGIN to
 * COMMIT/ROLLBACK. Notifications reach every client, as BullMQ's blocking worker needs.
 */
class EmbeddedClient extends EventEmitter implements PoolClient {
  readonly #session: pg.Client
  readonly #turnstile: Turnstile
  readonly #onRelease: (client: EmbeddedClient) => void
  /** While in a transaction: resolves once it is this client's turn, to how to let the next one in. */
  #turn: Promise<() => void> | null = null

  constructor(session: pg.Client, turnstile: Turnstile, onRelease: (client: EmbeddedClient) => void) {
    super()
    this.#session = session
    this.#turnstile = turnstile
    this.#onRelease = onRelease
  }

  async query(asked: string | PreparedQuery, params?: readonly unknown[]): Promise<QueryResult> {
    if (!this.#turn && BEGINS.test(textOf(asked))) {
      this.#turn = this.#turnstile.enter(this)
      this.#turnstile.hold(this)
    }
    if (this.#turn) return this.#within(this.#turn, asked, params)
    const leave = await this.#turnstile.enter(this)
    try {
      return await this.#ask(asked, params)
    } finally {
      leave()
    }
  }

  /** What is asked within a transaction goes at once, without waiting for what was asked before. */
  async #within(
    turn: Promise<() => void>,
    asked: string | PreparedQuery,
    params?: readonly unknown[],
  ): Promise<QueryResult> {
    const ends = ENDS.test(textOf(asked))
    if (ends) this.#turn = null
    const leave = await turn
    try {
      return await this.#ask(asked, params)
    } finally {
      if (ends) {
        this.#turnstile.hold(null)
        leave()
      }
    }
  }

  async #ask(asked: string | PreparedQuery, params?: readonly unknown[]): Promise<QueryResult> {
    return (await this.#session.query(asked as string, params as unknown[] | undefined)) as unknown as QueryResult
  }

  release(): void {
    // A client given back in mid-transaction must not leave the only session locked.
    if (this.#turn) void this.query('rollback').catch(() => {})
    this.#onRelease(this)
  }
}

/** The pool of clients that share the one session. */
export class EmbeddedPool extends EventEmitter implements Pool {
  readonly #session: pg.Client
  readonly #turnstile = new Turnstile()
  readonly #clients = new Set<EmbeddedClient>()

  constructor(session: pg.Client) {
    super()
    this.#session = session
    session.on('notification', ({ channel, payload }) => {
      for (const client of this.#clients) client.emit('notification', { channel, payload })
    })
  }

  within<T>(work: () => Promise<T>): Promise<T> {
    return asTransaction(work)
  }

  async connect(): Promise<PoolClient> {
    const client = new EmbeddedClient(this.#session, this.#turnstile, (released) => this.#clients.delete(released))
    this.#clients.add(client)
    return client
  }

  async query(asked: string | PreparedQuery, params?: readonly unknown[]): Promise<QueryResult> {
    const client = await this.connect()
    try {
      return await client.query(asked, params)
    } finally {
      client.release()
    }
  }

  async end(): Promise<void> {}
}
