import { Kysely, PostgresDialect, type Dialect } from 'kysely'
import type { Pipelined } from '../../flows/ports/deps.ts'
import type { Pool, PreparedQuery, QueryResult } from './pool.ts'
import { asParameter, type InsertStatement, type PreparedStatement } from './prepared-statements.ts'

/**
 * What the records speak to: Kysely, for statements that are put together from what was asked, and beside it prepared
 * statements, which are sent in the order of the calls, each at once.
 */
export class Connection<Tables> extends Kysely<Tables> {
  readonly #send: (query: PreparedQuery) => Promise<QueryResult>

  constructor(dialect: Dialect, send: (query: PreparedQuery) => Promise<QueryResult>) {
    super({ dialect })
    this.#send = send
  }

  /** The rows of a prepared statement, as the database has them. */
  async rows<Row>({ name, text }: PreparedStatement<Row>, values: readonly unknown[] = []): Promise<Row[]> {
    return (await this.#send({ name, text, values })).rows as Row[]
  }

  /** Sends a prepared write. Within a transaction nobody need wait for its answer. */
  write({ name, text }: PreparedStatement, values: readonly unknown[]): Pipelined {
    return this.#send({ name, text, values }) as Promise<unknown> as Pipelined
  }

  /** Inserts rows, as `write`. */
  insert<Row extends object>(statement: InsertStatement<Row>, rows: readonly Row[]): Pipelined {
    return rows.length === 0 ? (Promise.resolve() as Pipelined) : this.write(statement, [asParameter(statement, rows)])
  }
}

/** Every statement by itself, on any connection of the pool. */
export function connectionTo<Tables>(pool: Pool): Connection<Tables> {
  return new Connection<Tables>(new PostgresDialect({ pool: pool as never }), (query) => pool.query(query))
}
