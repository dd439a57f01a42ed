/** How many pieces of work may go on at once; the others wait, in the order they came. */
export class Window {
  readonly #waiting: (() => void)[] = []
  #free: number

  constructor(size: number) {
    this.#free = size
  }

  async run<T>(work: () => Promise<T>): Promise<T> {
    if (this.#free > 0) this.#free--
    else await new Promise<void>((resume) => this.#waiting.push(resume))
    try {
      return await work()
    } finally {
      const next = this.#waiting.shift()
      if (next) next()
      else this.#free++
    }
  }
}
