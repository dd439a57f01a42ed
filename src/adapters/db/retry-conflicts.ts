/** Runs `work` in one transaction. */
type Transact<Tx> = <T>(work: (tx: Tx) => Promise<T>) => Promise<T>

/**
 * PostgreSQL ended one transaction so that another could go on: deadlock_detected, serialization_failure and
 * exclusion_violation (PostgreSQL, Appendix A). Nothing of it was kept, and done again it works, or finds what the
 * other one did: somebody took a time that overlaps while this one looked whether it is free.
 */
const CONFLICTS: ReadonlySet<unknown> = new Set(['40P01', '40001', '23P01'])
const TRIES = 6
const SHORTEST_MS = 10

/**
 * The same, begun again where another transaction was in the way: after a pause by chance, doubled
 * each time, so that those who met once do not meet again. `work` may run more than once, so outside
 * its transaction it must not do what must not be done twice.
 *
 * @param random 0 up to 1
 * @returns what throws as before, once it has been tried often enough
 */
export function retryConflicts<Tx>(
  transact: Transact<Tx>,
  random: () => number,
  pause: (ms: number) => Promise<unknown>,
): Transact<Tx> {
  return async (work) => {
    for (let tries = 1; ; tries++) {
      try {
        return await transact(work)
      } catch (error) {
        if (tries === TRIES || !isConflict(error)) throw error
        await pause(random() * SHORTEST_MS * 2 ** tries)
      }
    }
  }
}

const isConflict = (error: unknown) => error instanceof Error && 'code' in error && CONFLICTS.has(error.code)
