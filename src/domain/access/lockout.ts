/** Failures in a row, and how long whoever made them waits. Numbers: common practice, no source. */
interface Rule {
  /** Failures without waiting. */
  free: number
  firstWaitMs: number
  longestWaitMs: number
}

/** Of one name from one address: only there is it waited, nobody elsewhere is kept out. */
const HERE: Rule = { free: 4, firstWaitMs: 30_000, longestWaitMs: 15 * 60_000 }
/**
 * Of one name from all addresses together, against whoever has many. It stays short: whoever does this must not keep
 * the right person out.
 */
const ANYWHERE: Rule = { free: 99, firstWaitMs: 1_000, longestWaitMs: 60_000 }
/** Of wrong codes after the right password: only who knows the password comes so far. */
const CODES: Rule = HERE

const RULES = { here: HERE, anywhere: ANYWHERE, codes: CODES }
export type TryKind = keyof typeof RULES

/** Failures so long ago are forgotten. */
const FORGOTTEN_MS = 24 * 3_600_000

/**
 * How long it is waited after so many failures in a row: nothing at first, then doubling up to a limit.
 * @param failures whole number, the newest included
 * @returns milliseconds
 */
export function waitAfter(failures: number, kind: TryKind = 'here'): number {
  const { free, firstWaitMs, longestWaitMs } = RULES[kind]
  if (failures <= free) return 0
  return Math.min(firstWaitMs * 2 ** (failures - free - 1), longestWaitMs)
}

/** Failures in a row, as kept. */
export interface Tried {
  failures: number
  lockedUntil: Date | null
  at: Date
}

export function mustWait({ lockedUntil }: Tried, now: Date): boolean {
  return lockedUntil !== null && lockedUntil > now
}

/** What is kept after one more failure. */
export function oneMore({ failures, at }: Tried, kind: TryKind, now: Date): Tried {
  const more = (now.getTime() - at.getTime() > FORGOTTEN_MS ? 0 : failures) + 1
  const wait = waitAfter(more, kind)
  return { failures: more, lockedUntil: wait > 0 ? new Date(now.getTime() + wait) : null, at: now }
}
