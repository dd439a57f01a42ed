import { setTimeout as pause } from 'node:timers/promises'

const FIRST_PAUSE_MS = 100
const LONGEST_PAUSE_MS = 30_000
const TRIES = 25

/** Tells it again while the store is away, ever more slowly; gives up after a quarter of an hour. */
export async function untilHeard<T>(tell: () => Promise<T>): Promise<T> {
  for (let tried = 1; ; tried++) {
    try {
      return await tell()
    } catch (error) {
      if (tried === TRIES) throw error
      await pause(Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** (tried - 1)))
    }
  }
}
