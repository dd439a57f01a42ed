/** Failed sign-ins before waiting begins. Common practice, no source. */
const FREE_TRIES = 5
const FIRST_WAIT_MS = 30_000
/** Never longer: whoever locks a clerk out by guessing must not keep her out for the day. */
const LONGEST_WAIT_MS = 15 * 60_000

/**
 * How long nobody can sign in under a name after so many failures in a row: nothing, then 30 s, doubling to 15 minutes.
 * @param failures whole number of failures since the last success, the newest included.
 * @returns milliseconds
 */
export function waitAfter(failures: number): number {
  if (failures < FREE_TRIES) return 0
  return Math.min(FIRST_WAIT_MS * 2 ** (failures - FREE_TRIES), LONGEST_WAIT_MS)
}
