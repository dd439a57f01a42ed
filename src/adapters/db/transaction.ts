import { Connection } from './connection.ts'
import type { Pool, PoolClient, PreparedQuery, QueryResult } from './pool.ts'

/**
 * Runs `work` in one transaction: commits when it resolves, rolls back when it throws.
 *
 * A transaction's cost is its round trips, so statements are sent without waiting for the answers to those before them
 * (PostgreSQL's pipeline mode): those that `work` asks for at once, those whose answer it leaves to the transaction
 * (see
 * `Pipelined`), and its beginning and end.
 *
 * @throws what `work` throws, or else the error of the statement that failed, whether or not anybody waited for it
 */
export function inTransaction<Tables, Result>(
  pool: Pool,
  work: (db: Connection<Tables>) => Promise<Result>,
): Promise<Result> {
  return pool.within ? pool.within(() => run(pool, work)) : run(pool, work)
}

async function run<Tables, Result>(pool: Pool, work: (db: Connection<Tables>) => Promise<Result>): Promise<Result> {
  const client = await pool.connect()
  const transaction = new Transaction(client)
  try {
    void transaction.send('begin')
    const result = await work(transaction.connection())
    await transaction.commit()
    client.release()
    return result
  } catch (error) {
    // A client that cannot even roll back is not given to anybody else.
    await client.query('rollback').then(
      () => client.release(),
      () => client.release(true),
    )
    throw transaction.causeOf(error)
  }
}

/** A statement was refused only because one before it had failed: `in_failed_sql_transaction`. */
const ABORTED = '25P02'

class Transaction {
  readonly #client: PoolClient
  /** Of the first statement that failed: PostgreSQL answers in the order of the statements. */
  #failure: unknown

  constructor(client: PoolClient) {
    this.#client = client
  }

  connection<Tables>(): Connection<Tables> {
    return new Connection<Tables>((query, values) => this.send(query, values))
  }

  /** The answer may be left alone: a failure is kept here. */
  send(query: string | PreparedQuery, values?: readonly unknown[]): Promise<QueryResult> {
    const answer = this.#client.query(query, values)
    answer.catch((error: unknown) => {
      this.#failure ??= error
    })
    return answer
  }

  async commit(): Promise<void> {
    const { command } = await this.send('commit')
    if (command !== 'COMMIT') throw this.#failure ?? new Error(`The database answered "${command}" to a commit.`)
  }

  /** What an error in this transaction comes from. */
  causeOf(error: unknown): unknown {
    const isAborted = typeof error === 'object' && error !== null && 'code' in error && error.code === ABORTED
    return isAborted ? (this.#failure ?? error) : error
  }
}
