import type { Alarm, Deps } from '../ports/deps.ts'

/** Messages put in the queue at a time. */
const BATCH = 500

/** Messages due before this are the queue's; later ones wait in the database alone. */
export const horizon = ({ clock, policy }: Pick<Deps, 'clock' | 'policy'>): Date => new Date(clock.now().getTime() + policy.horizonHours * 3_600_000)

/** A round under way, and the one after it, which serves all who asked meanwhile. */
interface Rounds {
  now: Promise<number>
  next?: Promise<number>
}

const rounds = new WeakMap<Deps, Rounds>()

/**
 * Sets the alarm for every planned message due within the horizon. The database says what is due; the queue only rings.
 * Who asks during a round waits for the next one, and all who do share it.
 * @returns how many were set in that round
 */
export function ringDue(deps: Deps): Promise<number> {
  const under = rounds.get(deps)
  if (!under) return round(deps)
  const another = () => round(deps)
  under.next ??= under.now.then(another, another)
  return under.next
}

function round(deps: Deps): Promise<number> {
  const under: Rounds = { now: ringAll(deps).finally(() => void (under.next ?? rounds.delete(deps))) }
  rounds.set(deps, under)
  return under.now
}

async function ringAll(deps: Deps): Promise<number> {
  const until = horizon(deps)
  let count = 0
  for (;;) {
    const due = await deps.store.read.dispatch.enqueueDue(until, BATCH)
    await setAlarms(deps, due)
    count += due.length
    if (due.length < BATCH) return count
  }
}

/** Sets alarms, if the queue answers. If not, nothing is lost: the sweep finds whatever was not rung for in time. */
export async function setAlarms(deps: Deps, alarms: readonly Alarm[]): Promise<void> {
  if (alarms.length === 0) return
  try {
    await deps.queue.set(alarms)
  } catch {
    deps.notice('alarms-not-set', {})
  }
}

/** As `setAlarms`, for whoever is waiting for an answer: the alarms need not be set before it. */
export function setAlarmsSoon(deps: Deps, alarms: readonly Alarm[]): void {
  if (alarms.length > 0) deps.queue.setSoon(alarms)
}
