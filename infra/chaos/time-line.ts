/** A clock that is the machine's plus what it was moved by, and remembers when that was. */
export class TimeLine {
  offset: number
  /** When it was moved, by the machine's clock, with what it said before. */
  readonly #moves: { real: number; before: number }[] = []

  constructor(start: number) {
    this.offset = start - Date.now()
  }

  now(): Date {
    return new Date(Date.now() + this.offset)
  }

  /** @returns what is to be added to the machine's time from now on. */
  move(ms: number): number {
    this.#moves.push({ real: Date.now(), before: this.now().getTime() })
    return (this.offset += ms)
  }

  /** What it said so long before a moment of the machine's. */
  earliestAt(real: number, lagMs: number): Date {
    const from = real - lagMs
    const next = this.#moves.find((move) => move.real > from)
    return new Date(next ? next.before + from - next.real : from + this.offset)
  }
}
