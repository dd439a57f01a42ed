/** Spaces work evenly, so that no second sees more of it than allowed. */
export class Pace {
  readonly #gapMs: number
  #nextAt = 0

  /** @param perSecond undefined: no limit. */
  constructor(perSecond: number | undefined) {
    this.#gapMs = perSecond === undefined ? 0 : 1000 / perSecond
  }

  /** Resolves when it is this caller's turn. */
  async turn(): Promise<void> {
    if (this.#gapMs === 0) return
    const now = performance.now()
    const at = Math.max(now, this.#nextAt)
    this.#nextAt = at + this.#gapMs
    if (at > now) await new Promise((resume) => setTimeout(resume, at - now))
  }
}
