/** Something changed. Ids only, never names, numbers or words. */
export interface Change {
  what: string
  ids: Record<string, string>
}

/** Spreads word of changes within this process to the pages that are open. */
export class ChangeFeed {
  readonly #listeners = new Set<(news: Change) => void>()
  readonly #goodbyes = new Set<() => void>()

  tell(what: string, ids: Record<string, string>): void {
    for (const listen of this.#listeners) listen({ what, ids })
  }

  /** @param goodbye called when the service stops, to end the open answer. @returns how to stop listening. */
  listen(listener: (news: Change) => void, goodbye: () => void): () => void {
    this.#listeners.add(listener)
    this.#goodbyes.add(goodbye)
    return () => {
      this.#listeners.delete(listener)
      this.#goodbyes.delete(goodbye)
    }
  }

  get listening(): number {
    return this.#listeners.size
  }

  /** Ends every open answer: a server waits for those before it stops. */
  close(): void {
    for (const goodbye of [...this.#goodbyes]) goodbye()
  }
}
