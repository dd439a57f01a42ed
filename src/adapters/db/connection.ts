import {
  DefaultQueryExecutor,
  DummyDriver,
  Kysely,
  PostgresAdapter,
  PostgresDialect,
  PostgresQueryCompiler,
  type ConnectionProvider,
  type DatabaseConnection,
} from 'kysely'
import type { Pipelined } from '../../flows/ports/deps.ts'
import type { Pool, PreparedQuery, QueryResult } from './pool.ts'
import { asParameter, type InsertStatement, type PreparedStatement } from './prepared-statements.ts'

/** Sends a statement at once. */
export type Send = (query: string | PreparedQuery, values?: readonly unknown[]) => Promise<QueryResult>

const compiler = new PostgresQueryCompiler()
const adapter = new PostgresAdapter()
const driver = new DummyDriver()
const dialect = new PostgresDialect({ pool: async () => Promise.reject(new Error('Not asked.')) })

/**
 * What the records speak to: Kysely, for statements that are put together from what was asked, and
 * beside it prepared statements. Either is sent when it is asked for, so that what is asked for at
 * once goes in the order of the calls: a lock before what it protects.
 */
export class Connection<Tables> extends Kysely<Tables> {
  readonly #send: Send

  constructor(send: Send) {
    const executor = new DefaultQueryExecutor(compiler, adapter, providerOf(send))
    super({ config: { dialect }, dialect, driver, executor })
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
    if (rows.length === 0) return Promise.resolve() as Pipelined
    return this.write(statement, [asParameter(statement, rows)])
  }
}

/** Every statement by itself, on any connection of the pool. */
export function connectionTo<Tables>(pool: Pool): Connection<Tables> {
  return new Connection<Tables>((query, values) => pool.query(query, values))
}

/** Kysely's own provider waits for a connection first; this one has it. */
function providerOf(send: Send): ConnectionProvider {
  const connection: DatabaseConnection = {
    executeQuery: async <Row>({ sql, parameters }: { sql: string; parameters: readonly unknown[] }) => {
      const { rows, rowCount } = await send(sql, parameters)
      return { rows: rows as Row[], numAffectedRows: BigInt(rowCount ?? 0) }
    },
    streamQuery: () => {
      throw new Error('Nothing is streamed.')
    },
  }
  return { provideConnection: (consumer) => consumer(connection) }
}
