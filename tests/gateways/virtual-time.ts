interface Due {
  at: number
  work: () => Promise<void>
}

/** A clock that stands still until it is advanced, and a timer that rings by it. */
export class VirtualTime {
  #now: number
  #due: Due[] = []

  constructor(start: string) {
    this.#now = new Date(start).getTime()
  }

  now = (): Date => new Date(this.#now)

  after = (ms: number, work: () => Promise<void>): void => {
    this.#due.push({ at: this.#now + ms, work })
  }

  /** Lets time pass; work due in it runs in order, each at its own instant. */
  async advance(ms: number): Promise<void> {
    const end = this.#now + ms
    await settle()
    for (let next = this.#next(end); next !== undefined; next = this.#next(end)) {
      this.#now = Math.max(this.#now, next.at)
      await next.work()
      await settle()
    }
    this.#now = end
  }

  #next(end: number): Due | undefined {
    const [first] = this.#due.filter((due) => due.at <= end).sort((a, b) => a.at - b.at)
    if (first) this.#due.splice(this.#due.indexOf(first), 1)
    return first
  }
}

/** Lets promises that are already decided run on. */
function settle(): Promise<void> {
  return new Promise((resume) => setImmediate(resume))
}
