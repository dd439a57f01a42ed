import type { Deps, Tx } from '../../src/flows/ports/deps.ts'
import type { TestWorld } from './world.ts'

/** The service with a transaction that stands still at one point until it is let go. */
export interface StandingStill {
  deps: Deps
  /** Resolves when it has got there. */
  reached: Promise<void>
  letGo(): void
}

/** Its next transaction has done its work, and is committed only when it is let go. */
export function heldOpen(deps: Deps): StandingStill {
  const gate = createGate()
  return gate.around(deps, async (tx, work) => {
    const result = await work(tx)
    await gate.stand()
    return result
  })
}

/** Its next transaction stands still before it takes the time of a visit. */
export function heldBeforeTaking(deps: Deps): StandingStill {
  const gate = createGate()
  return gate.around(deps, (tx, work) => {
    const take: Tx['slots']['take'] = async (...asked) => (await gate.stand(), tx.slots.take(...asked))
    const slots = { ...tx.slots, take }
    return work(new Proxy(tx, { get: (own, key) => (key === 'slots' ? slots : Reflect.get(own, key)) as unknown }))
  })
}

type Around = <T>(tx: Tx, work: (tx: Tx) => Promise<T>) => Promise<T>

function createGate() {
  let letGo!: () => void
  let arrive!: () => void
  const open = new Promise<void>((resolve) => (letGo = resolve))
  const reached = new Promise<void>((resolve) => (arrive = resolve))
  const stand = async () => {
    arrive()
    await open
  }
  const around = (deps: Deps, held: Around): StandingStill => {
    const transact: Deps['store']['transact'] = (work) => deps.store.transact((tx) => held(tx, work))
    return { deps: { ...deps, store: { ...deps.store, transact } }, reached, letGo }
  }
  return { stand, around }
}

/** Whether what was begun beside a transaction that is held open waits for it, or has ended meanwhile. */
export async function waitsOrEnds({ composed }: TestWorld, begun: Promise<unknown>): Promise<void> {
  let ended = false
  void begun.finally(() => (ended = true)).catch(() => {})
  const asking = `select 1 from pg_stat_activity where wait_event_type = 'Lock' and datname = current_database()`
  for (let n = 0; n < 400 && !ended; n++) {
    if ((await composed.database.queue.query(asking)).rows.length > 0) return
    await new Promise((resolve) => setTimeout(resolve, 25))
  }
}
