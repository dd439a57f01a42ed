import type { Part, Piece } from './inbound.ts'

interface Group<T> {
  about: T
  pieces: (Piece | undefined)[]
  timer: NodeJS.Timeout
  /** Those whose pieces have come and not yet been acknowledged. */
  waiting: Waiter[]
}

interface Waiter {
  promise: Promise<void>
  resolve: () => void
  reject: (cause: unknown) => void
}

export interface ReassemblyOptions<T> {
  /** Stores a text of which all that will come has come; missing pieces are undefined. */
  hear: (about: T, pieces: (Piece | undefined)[]) => Promise<void>
  /** How long a text waits for its missing pieces. */
  patienceMs: number
  /** How long the acknowledgement of a piece waits for the others: some peers send the next only after it. */
  holdMs: number
}

/**
 * Puts long replies together, in whatever order their pieces come. A piece is acknowledged once the whole text is
 * stored, or after a moment where the peer waits for that before it sends the next. A text that stays incomplete is
 * heard with a gap: a person can make something of it.
 */
export class Reassembly<T> {
  readonly #options: ReassemblyOptions<T>
  readonly #groups = new Map<string, Group<T>>()

  constructor(options: ReassemblyOptions<T>) {
    this.#options = options
  }

  /** Resolves when the piece may be acknowledged; rejects when the text could not be stored and must be sent again. */
  async add(sender: string, about: T, part: Part, piece: Piece): Promise<void> {
    const key = JSON.stringify([sender, part.reference, part.total])
    const group = this.#groups.get(key) ?? this.#open(key, about, part.total)
    group.pieces[part.number - 1] = piece
    const waiter = deferred()
    group.waiting.push(waiter)
    if (group.pieces.every((one) => one !== undefined)) void this.#finish(key, group)
    const hold = setTimeout(waiter.resolve, this.#options.holdMs)
    await waiter.promise.finally(() => clearTimeout(hold))
  }

  /** Hears at once whatever is there, because the service stops. */
  async flush(): Promise<void> {
    await Promise.all([...this.#groups].map(([key, group]) => this.#finish(key, group)))
  }

  #open(key: string, about: T, total: number): Group<T> {
    const group: Group<T> = { about, pieces: Array(total).fill(undefined), waiting: [], timer: this.#expire(key) }
    this.#groups.set(key, group)
    return group
  }

  #expire(key: string): NodeJS.Timeout {
    return setTimeout(() => {
      const group = this.#groups.get(key)
      if (group) void this.#finish(key, group)
    }, this.#options.patienceMs)
  }

  /** A text that could not be stored is kept, for the piece that the peer sends again or for another try later. */
  async #finish(key: string, group: Group<T>): Promise<void> {
    clearTimeout(group.timer)
    const waiting = group.waiting.splice(0)
    try {
      await this.#options.hear(group.about, group.pieces)
      this.#groups.delete(key)
      for (const waiter of waiting) waiter.resolve()
    } catch (cause) {
      group.timer = this.#expire(key)
      for (const waiter of waiting) waiter.reject(cause)
    }
  }
}

function deferred(): Waiter {
  let [resolve, reject]: [() => void, (cause: unknown) => void] = [() => {}, () => {}]
  const promise = new Promise<void>((yes, no) => ([resolve, reject] = [yes, no]))
  return { promise, resolve, reject }
}
