/** Work that has begun and not ended, so that a stop can wait for it. */
export class InFlight {
  readonly #running = new Set<Promise<unknown>>()

  run<T>(work: () => Promise<T>): Promise<T> {
    const running = work().finally(() => this.#running.delete(running))
    this.#running.add(running)
    return running
  }

  async settled(): Promise<void> {
    while (this.#running.size > 0) await Promise.allSettled(this.#running)
  }
}
