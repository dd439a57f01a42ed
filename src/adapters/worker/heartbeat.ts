import type { Deps } from '../../flows/ports/deps.ts'

const BEAT_MS = 5_000
/** Well before the others give this process up for gone. */
const STEADY_MS = 20_000

/**
 * Lets the database know that this process lives, and this process know when it may no longer be sure of that.
 * @returns how to stop; a beat under way is finished.
 */
export function startHeartbeat(
  { store, worker }: Pick<Deps, 'store' | 'worker'>,
  onError: (error: Error) => void,
): () => Promise<void> {
  let heard = moment()
  let beating: Promise<void> | undefined
  const beat = async () => {
    const asked = moment()
    await store.read.workers.beat(worker.id)
    heard = asked
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
