import { triedAgainAt, type Asking, type TellBy } from '../../domain/schedule/telling.ts'
import type { Deps } from '../ports/deps.ts'

/** Tells one of them. @throws where it was not taken: it is tried again */
export type Courier = (asking: Asking, by: TellBy) => Promise<void>

const AT_ONCE = 50
/** Longer than telling one takes. */
const LEASE_MS = 120_000

/**
 * Tells the keepers of schedules what was put by for them and is due: of one visit in order, so that nobody hears of an
 * older wish last. What is not taken is tried again for as long as it is wanted; the call list has it all the while.
 * @returns how many were told
 */
export async function tellSchedules(deps: Deps, courier: Courier): Promise<number> {
  const { clock, store, feeds } = deps
  const lease = new Date(clock.now().getTime() + LEASE_MS)
  let told = 0
  for (const { asking, failures, bookingId } of await store.read.feeds.due(clock.now(), lease, AT_ONCE)) {
    const by = feeds.get(asking.feed)?.tell
    if (!by || !(await isWanted(deps, bookingId, asking))) {
      await store.read.feeds.settle(asking.id, 'dropped', clock.now())
      continue
    }
    try {
      await courier(asking, by)
      await store.read.feeds.settle(asking.id, 'told', clock.now())
      deps.notice('schedule-told', { booking: bookingId })
      told++
    } catch {
      await store.read.feeds.putOff(asking.id, triedAgainAt(failures + 1, clock.now()))
      deps.notice('schedule-not-told', { booking: bookingId })
    }
  }
  return told
}

/** The patient still waits for that very time. */
async function isWanted({ store, clock }: Deps, bookingId: string, { to }: Asking): Promise<boolean> {
  const offer = await store.read.offers.pending(bookingId)
  const chosen = offer?.state === 'waiting' && offer.chosen !== null ? offer.choices[offer.chosen - 1] : undefined
  return chosen?.at.getTime() === to.getTime() && to > clock.now()
}
