import { Failure } from '../../domain/failure.ts'
import type { Deps, KeptAnswer, Tx } from '../ports/deps.ts'

/** An answer is kept for so long, as callers are told. From then on its key is a new one, cleared or not. */
export const KEYS_KEPT_DAYS = 7
const DAY_MS = 86_400_000

/** Answers given at this instant, or before, are kept no longer. */
export const keysForgottenUntil = (now: Date): Date => new Date(now.getTime() - KEYS_KEPT_DAYS * DAY_MS)

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
      if (kept && isKept(deps, kept)) return repeat(kept, requestHash)
      if (kept) void tx.idempotency.remove(key)
      const { status, body } = await work(tx, known)
      void tx.idempotency.put({ key, requestHash, status, body, at: deps.clock.now() })
      return { status, body, repeated: false }
    })
  } catch (error) {
    // The same request may have been on its way twice, at once: then the other one has done the work.
    const other = await deps.store.read.idempotency.get(key)
    if (other && isKept(deps, other)) return repeat(other, requestHash)
    throw error
  }
}

const isKept = ({ clock }: Deps, { at }: KeptAnswer) => at > keysForgottenUntil(clock.now())

function repeat(
  { requestHash, status, body }: KeptAnswer,
  hash: string,
): { status: number; body: unknown; repeated: boolean } {
  if (requestHash !== hash)
    throw new Failure('key-reused', {
      field: 'Idempotency-Key',
      message: 'This key was used for another request. Make a new key for each new booking.',
    })
  return { status, body, repeated: true }
}
