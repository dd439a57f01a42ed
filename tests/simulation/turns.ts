import { setImmediate as settled } from 'node:timers/promises'
import type { Chance } from '../../infra/chaos/random.ts'

/** What an operation says when nobody is left to hear of it. */
export const NOBODY = Symbol('nobody is left to hear of it')

/** A step of some flow that waits for its turn. */
interface Waiting {
  owner: object
  label: string
  run: () => Promise<void>
}

/**
 * Lets flows that run at the same time take turns, at each of their calls to the outside: one step at a time, and
 * chance says whose. The same chance, the same order.
 */
export class Turns {
  #waiting: Waiting[] = []
  readonly #chance: Chance
  readonly #after: () => Promise<void>
  #stepping = false
  steps = 0

  /** @param after called after each step. */
  constructor(chance: Chance, after: () => Promise<void>) {
    this.#chance = chance
    this.#after = after
  }

  get waiting(): number {
    return this.#waiting.length
  }

  /**
   * Does `work` when its turn comes. Who waits for it waits for ever if it comes to `NOBODY`, or its owner is
   * forgotten.
   */
  take<T>(owner: object, label: string, work: () => Promise<T | typeof NOBODY>): Promise<T> {
    // While a step is done everybody else waits. A call from within it would wait for itself.
    if (this.#stepping) throw new Error(`"${label}" was called from within a step.`)
    return new Promise<T>((done, fail) => {
      const run = async () => {
        this.#stepping = true
        const result = await work().finally(() => (this.#stepping = false))
        if (result !== NOBODY) done(result)
      }
      this.#waiting.push({ owner, label, run: () => run().catch(fail) })
    })
  }

  /** Begins a flow of its own when its turn comes. */
  begin(owner: object, label: string, flow: () => Promise<unknown>, failed: (error: unknown) => void): void {
    this.#waiting.push({ owner, label, run: async () => void flow().catch(failed) })
  }

  /** Drops whatever waits for a turn of this owner. */
  forget(owner: object): void {
    this.#waiting = this.#waiting.filter((each) => each.owner !== owner)
  }

  /** One step after the other until nothing waits that may go on. */
  async run(may: (owner: object, label: string) => boolean): Promise<void> {
    for (;;) {
      // Whoever was answered goes on until it waits again: that takes no more than this, since nothing else is waited
      // for.
      await settled()
      const able = this.#waiting.filter(({ owner, label }) => may(owner, label))
      if (able.length === 0) return
      const next = this.#chance.one(able)
      this.#waiting.splice(this.#waiting.indexOf(next), 1)
      this.steps++
      await next.run()
      await this.#after()
    }
  }
}
