/** A machine whose clock is off by more than this leaves sending to the others, as long as there are any. */
export const MOST_OFFSET_MS = 2 * 60_000
/** From this on somebody should look after the clock. */
export const WORTH_A_LOOK_MS = 30_000

/**
 * Whether a worker leaves claiming to the others. What is due is judged by the database's clock anyway; but a machine
 * whose clock is far off is not to be trusted with certificates and time limits of its peers. Alone it goes on: nobody
 * is left untold for a clock.
 * @param offsetMs by how much its clock is ahead; null = not known
 * @param others how many live whose clocks are right
 */
export const yieldsClaims = (offsetMs: number | null, others: number): boolean =>
  offsetMs !== null && Math.abs(offsetMs) > MOST_OFFSET_MS && others > 0
