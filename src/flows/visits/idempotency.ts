import { Failure } from '../../domain/failure.ts'
import type { Deps, KeptAnswer, Tx } from '../ports/deps.ts'

/**
 * Does `work` once for an Idempotency-Key: the same key with the same request gets the same answer again, with another
 * request it is refused. The answer is kept in the transaction that does the work, so that neither exists alone.
 *
 * @param look what the work needs to know in any case, read while the key is looked up
 */
export async function withIdempotencyKey<Known>(
  deps: Deps,
  key: string,
  request: unknown,
  look: (tx: Tx) => Promise<Known>,
  work: (tx: Tx, known: Known) => Promise<{ status: number; body: unknown }>,
): Promise<{ status: number; body: unknown; repeated: boolean }> {
  const requestHash = deps.digest(`request ${JSON.stringify(request)}`)
  try {
    return await deps.store.transact(async (tx) => {
      const [kept, known] = await Promise.all([tx.idempotency.get(key), look(tx)])
      if (kept) return repeat(kept, requestHash)
      const { status, body } = await work(tx, known)
      void tx.idempotency.put({ key, requestHash, status, body }, deps.clock.now())
      return { status, body, repeated: false }
    })
  } catch (error) {
    // The same request may have been on its way twice, at once: then the other one has done the work.
    const other = await deps.store.read.idempotency.get(key)
    if (other) return repeat(other, requestHash)
    throw error
  }
}

function repeat({ requestHash, status, body }: KeptAnswer, hash: string): { status: number; body: unknown; repeated: boolean } {
  if (requestHash !== hash) throw new Failure('key-reused', { field: 'Idempotency-Key', message: 'This key was used for another request. Make a new key for each new booking.' })
  return { status, body, repeated: true }
}
