import type { Deps, Pipelined, Tx } from '../ports/deps.ts'

/** Notes what happened to a visit, for people who ask later. */
export function noteEvent(
  tx: Tx,
  deps: Deps,
  bookingId: string | null,
  what: string,
  by: string,
  facts: Record<string, unknown> = {},
): Pipelined {
  return tx.events.add({ at: deps.clock.now(), bookingId, what, by, facts })
}
