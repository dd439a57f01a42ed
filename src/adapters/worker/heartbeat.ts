import { yieldsClaims } from '../../domain/messages/yield-claims.ts'
import type { Deps } from '../../flows/ports/deps.ts'

const BEAT_MS = 5_000
/** Well before the others give this process up for gone. */
const STEADY_MS = 20_000

/**
 * Lets the database know that this process lives, and this process know when it may no longer be sure of that; and
 * whether it is to leave claiming to the others.
 * @param offset by how many milliseconds the clock of this machine is ahead; null = not known
 * @returns how to stop; a beat under way is finished.
 */
export function startHeartbeat(
  { store, worker, queue }: Pick<Deps, 'store' | 'worker' | 'queue'>,
  offset: () => number | null,
  onError: (error: Error) => void,
): () => Promise<void> {
  let heard = moment()
  let beating: Promise<void> | undefined
  let yields = false
  const beat = async () => {
    const asked = moment()
    const off = offset()
    const others = await store.read.workers.beat(worker.id, off)
    heard = asked
    if (yieldsClaims(off, others) === yields) return
    yields = !yields
    await queue.rest(yields)
  }
  const again = () => (beating = beat().catch(onError))
  const timer = setInterval(() => void again(), BEAT_MS)
  void again()
  worker.steady = () => elapsed(heard) < STEADY_MS
  return async () => {
    clearInterval(timer)
    await beating
  }
}

/** Both clocks: one stands still while the machine sleeps, the other may be set back. */
const moment = () => ({ running: performance.now(), wall: Date.now() })
const elapsed = (since: ReturnType<typeof moment>) =>
  Math.max(performance.now() - since.running, Date.now() - since.wall)
