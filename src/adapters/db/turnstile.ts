import { AsyncLocalStorage } from 'node:async_hooks'

/** Marks the asynchronous context of one transaction, so that a query that strays outside it can be told apart. */
const transaction = new AsyncLocalStorage<{ holder: object | null }>()

/** Runs `work` as one transaction's context. */
export function asTransaction<T>(work: () => Promise<T>): Promise<T> {
  return transaction.run({ holder: null }, work)
}

/** A query was made through the pool inside a transaction: on the embedded store it would wait for itself for ever. */
export class StrayQuery extends Error {
  constructor() {
    super(
      'A query outside the transaction was made from within it. Inside transact(), use only the records handed to you.',
    )
    this.name = 'StrayQuery'
  }
}

/** Lets one holder at a time through; a holder keeps it from BEGIN to COMMIT or ROLLBACK. First come, first served. */
export class Turnstile {
  #tail: Promise<void> = Promise.resolve()

  /** @returns a function that lets the next one in. @throws StrayQuery when this context already holds it elsewhere. */
  async enter(client: object): Promise<() => void> {
    const context = transaction.getStore()
    if (context?.holder && context.holder !== client) throw new StrayQuery()
    const before = this.#tail
    let leave!: () => void
    this.#tail = new Promise((resolve) => (leave = resolve))
    await before
    return leave
  }

  /** Notes that the running context's transaction is held by this client. */
  hold(client: object | null): void {
    const context = transaction.getStore()
    if (context) context.holder = client
  }
}
