const BATCH = 200
/** Rounds of one step in one sweep: a mountain of work must not keep the steps after it waiting for ever. */
const MOST_ROUNDS = 50

/** Does `each` for all there is, a batch at a time. `next` must not bring back what has been dealt with. */
export async function forAll<T>(
  next: (limit: number) => Promise<T[]>,
  each: (item: T) => Promise<void>,
): Promise<void> {
  for (let round = 0; round < MOST_ROUNDS; round++) {
    const batch = await next(BATCH)
    for (const item of batch) await each(item)
    if (batch.length < BATCH) return
  }
}
