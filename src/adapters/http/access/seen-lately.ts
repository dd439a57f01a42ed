const HOUR_MS = 3_600_000
/** Addresses of actors that are kept in mind. */
const MOST = 5_000

/**
 * Whom an address has shown somebody within the hour, as this process recorded it. An open page refreshes itself every
 * few seconds: the record says once an hour whom it showed, and at once when somebody new appears.
 */
export class SeenLately {
  readonly #seen = new Map<string, Map<string, number>>()
  readonly #now: () => Date

  constructor(now: () => Date) {
    this.#now = now
  }

  /** Those of these that were not recorded for it within the hour. */
  newTo(address: string, ids: readonly string[]): string[] {
    const since = this.#now().getTime() - HOUR_MS
    const known = this.#seen.get(address)
    return ids.filter((id) => (known?.get(id) ?? 0) <= since)
  }

  /** They are on record. */
  note(address: string, ids: readonly string[]): void {
    const now = this.#now().getTime()
    const kept = [...(this.#seen.get(address) ?? [])].filter(([, at]) => at > now - HOUR_MS)
    this.#seen.delete(address)
    this.#seen.set(address, new Map([...kept, ...ids.map((id) => [id, now] as const)]))
    // A map keeps the order in which its keys came: the oldest is forgotten, and recorded again if need be.
    if (this.#seen.size > MOST) this.#seen.delete(this.#seen.keys().next().value!)
  }
}
