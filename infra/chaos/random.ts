/** Chance that can be repeated: the same seed, the same run of numbers (mulberry32, public domain). */
export class Chance {
  #state: number

  constructor(seed: number) {
    this.#state = seed >>> 0
  }

  /** 0 up to 1. */
  next(): number {
    this.#state = (this.#state + 0x6d2b79f5) >>> 0
    let t = this.#state
    t = Math.imul(t ^ (t >>> 15), t | 1)
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61)
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32
  }

  happens(probability: number): boolean {
    return this.next() < probability
  }

  /** A whole number, both ends included. */
  between(least: number, most: number): number {
    return least + Math.floor(this.next() * (most - least + 1))
  }

  one<T>(items: readonly T[]): T {
    return items[this.between(0, items.length - 1)]!
  }

  bytes(count: number): Uint8Array {
    return Uint8Array.from({ length: count }, () => this.between(0, 255))
  }
}
