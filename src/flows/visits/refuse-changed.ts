import { Failure } from '../../domain/failure.ts'
import type { Tx, VisitEvent } from '../ports/deps.ts'

/** What makes a page that shows a visit out of date. */
const CHANGES: ReadonlySet<string> = new Set(['moved', 'amended', 'cancelled'])

/** Counts the changes of a visit: whoever has seen fewer than there are has not seen what it is now. */
export const versionOf = (events: readonly VisitEvent[]): number => changesOf(events).length

/** What has been changed beyond what was seen, newest last. */
export const changedSince = (events: readonly VisitEvent[], seen: number): VisitEvent[] => changesOf(events).slice(seen)

const changesOf = (events: readonly VisitEvent[]) => events.filter(({ what }) => CHANGES.has(what))

/**
 * Of two who change one visit at the same time the second is asked first. The visit is locked.
 * @param seen by `versionOf` as it was shown; undefined = whoever asks does not say
 * @throws changed
 */
export async function refuseChanged(tx: Tx, bookingId: string, seen: number | undefined): Promise<void> {
  if (seen === undefined || changedSince(await tx.events.ofBooking(bookingId), seen).length === 0) return
  throw new Failure('changed', {
    message: 'Somebody else has changed this visit since you opened it. Look at what it is now, and choose again.',
  })
}
