import type { Claim } from './fleet.ts'

/**
 * Messages that a fault has left in doubt, and how often: what the network could not answer for certain, and what a
 * process had claimed when it was killed. Nothing else may ever be sent twice, however long ago it was answered.
 */
export class Doubts {
  readonly #claims = new Set<string>()
  readonly #counts = new Map<string, number>()

  /** A claim may be seen more than once until somebody takes it over: it counts once. */
  claims(left: readonly Claim[]): void {
    for (const { id, attempt } of left) {
      const key = `${id} ${attempt}`
      if (this.#claims.has(key)) continue
      this.#claims.add(key)
      this.#count(id)
    }
  }

  unheard(ids: readonly string[]): void {
    for (const id of ids) this.#count(id)
  }

  get counts(): ReadonlyMap<string, number> {
    return this.#counts
  }

  #count(id: string): void {
    this.#counts.set(id, (this.#counts.get(id) ?? 0) + 1)
  }
}
