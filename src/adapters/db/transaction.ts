import { Kysely, PostgresDialect, type CompiledQuery, type DatabaseConnection, type Driver } from 'kysely'
import type { Pool, PoolClient, QueryResult } from './pool.ts'
import { nameOf, readyMade } from './prepared-statements.ts'

/**
 * Runs `work` in one transaction: commits when it resolves, rolls back when it throws.
 *
 * A transaction's cost is its round trips, so it makes few:
 * - statements that are asked for at once are sent at once, without waiting for each other's answer (where the client
 *   can; PostgreSQL calls it pipeline mode);
 * - what is only written (plain inserts and updates) waits for the next statement or the commit, and goes together, as one
 *   statement.
 *
 * A write's error is therefore met by whatever comes next, at the latest by the commit. Nothing is lost by that: an error
 * ends the transaction in any case.
 */
export function inTransaction<Tables, Result>(pool: Pool, work: (db: Kysely<Tables>) => Promise<Result>): Promise<Result> {
  return pool.within ? pool.within(() => run(pool, work)) : run(pool, work)
}

async function run<Tables, Result>(pool: Pool, work: (db: Kysely<Tables>) => Promise<Result>): Promise<Result> {
  const client = await pool.connect()
  const statements = new Statements(client)
  try {
    statements.begin()
    const result = await work(new Kysely<Tables>({ dialect: new OneClient(statements) }))
    await statements.commit()
    client.release()
    return result
  } catch (error) {
    // A client that cannot even roll back is not given to anybody else.
    await statements.rollback().then(() => client.release(), () => client.release(true)) // prettier-ignore
    throw error
  }
}

interface Statement {
  text: string
  params: readonly unknown[]
}

/** The answer to a write that has yet to go: nobody may count on how many rows it changes. */
const NOTHING: QueryResult = { rows: [], rowCount: 0, command: '' }
/** PostgreSQL takes 65,535 parameters a statement. */
const MOST_PARAMS = 30_000

/** What is sent over one client within one transaction. */
class Statements {
  readonly #client: PoolClient
  /** Writes that wait, at most one for each table: within one statement none sees another, and PostgreSQL promises no order. */
  #waiting = new Map<string, Statement>()
  /** The first thing that went wrong; what comes after only says that the transaction is over. */
  #fault: unknown

  constructor(client: PoolClient) {
    this.#client = client
  }

  begin(): void {
    this.#unheard(this.#send('begin'))
  }

  async query(text: string, params: readonly unknown[]): Promise<QueryResult> {
    const table = tableOf(text)
    if (table !== null && params.length <= MOST_PARAMS) {
      if (this.#waiting.has(table) || this.#paramsWaiting() + params.length > MOST_PARAMS) this.#flush()
      this.#waiting.set(table, { text, params })
      return NOTHING
    }
    this.#flush()
    return this.#send(text, params)
  }

  /** @throws what went wrong in any statement, answered for or not. */
  async commit(): Promise<void> {
    this.#flush()
    const { command } = await this.#send('commit')
    if (this.#fault) throw this.#fault
    if (command === 'ROLLBACK') throw new Error('The database rolled the transaction back instead of committing it.')
  }

  async rollback(): Promise<void> {
    this.#waiting.clear()
    await this.#client.query('rollback')
  }

  #paramsWaiting(): number {
    return [...this.#waiting.values()].reduce((sum, { params }) => sum + params.length, 0)
  }

  #flush(): void {
    if (this.#waiting.size === 0) return
    const { text, params } = asOne([...this.#waiting.values()])
    this.#waiting.clear()
    this.#unheard(this.#send(text, params))
  }

  async #send(text: string, params?: readonly unknown[]): Promise<QueryResult> {
    const name = nameOf(text)
    try {
      return await (name && params ? this.#client.query({ name, text, values: params }) : this.#client.query(text, params))
    } catch (error) {
      this.#fault ??= error
      throw this.#fault
    }
  }

  /** Nobody waits for this one: its error is kept, and met by what comes next. */
  #unheard(sent: Promise<unknown>): void {
    sent.catch(() => {})
  }
}

const WRITES = /^(?:insert into|update) "(\w+)" /
/** Its result is wanted, it reads other rows, or it holds words in which `$1` may mean something else. */
const NOT_PLAIN = / returning | do update | from "|'/

/** The table of a plain insert or update; null for any other statement. */
function tableOf(text: string): string | null {
  const [, table] = WRITES.exec(text) ?? []
  return table === undefined || NOT_PLAIN.test(text) ? null : table
}

/** Several writes as one: `with w0 as (insert …), w1 as (update …) insert …`. Foreign keys are checked at its end. */
function asOne(statements: readonly Statement[]): Statement {
  const names = statements.map(({ text }) => nameOf(text))
  // Of ready-made parts it is ready-made itself: a flow writes into the same tables in the same order each time.
  const text = names.includes(undefined) ? joinedText(statements) : readyMade(names.join(), () => joinedText(statements))
  return { text, params: statements.flatMap(({ params }) => params) }
}

function joinedText(statements: readonly Statement[]): string {
  let before = 0
  const texts = statements.map(({ text, params }) => {
    const from = before
    before += params.length
    return from === 0 ? text : text.replace(/\$(\d+)/g, (_, n: string) => `$${Number(n) + from}`)
  })
  const last = texts.pop()!
  return texts.length === 0 ? last : `with ${texts.map((text, at) => `w${at} as (${text})`).join(', ')} ${last}`
}

/** Kysely's PostgreSQL, over the client of one transaction, which is begun and ended elsewhere. */
class OneClient extends PostgresDialect {
  readonly #statements: Statements

  constructor(statements: Statements) {
    super({ pool: neverAsked })
    this.#statements = statements
  }

  override createDriver(): Driver {
    const connection = connectionOver(this.#statements)
    const nothing = async () => {}
    return {
      init: nothing,
      acquireConnection: async () => connection,
      releaseConnection: nothing,
      beginTransaction: nested,
      commitTransaction: nested,
      rollbackTransaction: nested,
      destroy: nothing,
    }
  }
}

function connectionOver(statements: Statements): DatabaseConnection {
  return {
    executeQuery: async <Row>({ sql, parameters }: CompiledQuery) => {
      const { rows, rowCount, command } = await statements.query(sql, parameters)
      const changes = command === 'INSERT' || command === 'UPDATE' || command === 'DELETE'
      return { rows: rows as Row[], ...(changes && { numAffectedRows: BigInt(rowCount ?? 0) }) }
    },
    streamQuery: () => {
      throw new Error('Nothing is streamed within a transaction.')
    },
  }
}

const neverAsked = async (): Promise<never> => {
  throw new Error('A transaction has one client.')
}

const nested = async (): Promise<never> => {
  throw new Error('A transaction within a transaction is not wanted here.')
}
