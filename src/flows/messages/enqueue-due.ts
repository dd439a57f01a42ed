import type { Deps } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'

/** Messages put in the queue at a time. */
const BATCH = 500

/** Messages due before this are the queue's; later ones wait in the database alone. */
export const horizon = ({ clock, policy }: Pick<Deps, 'clock' | 'policy'>): Date =>
  new Date(clock.now().getTime() + policy.horizonHours * 3_600_000)

/** A round under way, and the one after it, which serves all who asked meanwhile. */
interface Rounds {
  now: Promise<number>
  next?: Promise<number>
}

// eslint-disable-next-line no-restricted-syntax -- it belongs to the service whose Deps these are
const rounds = new WeakMap<Deps, Rounds>()

/**
 * Enqueues a job for every planned message due within the horizon. The database says what is due; the queue only
 * keeps time. Who asks during a round waits for the next one, and all who do share it.
 * @returns how many were set in that round
 */
export function enqueueDue(deps: Deps): Promise<number> {
  const under = rounds.get(deps)
  if (!under) return round(deps)
  const another = () => round(deps)
  under.next ??= under.now.then(another, another)
  return under.next
}

function round(deps: Deps): Promise<number> {
  const under: Rounds = { now: enqueueAll(deps).finally(() => void (under.next ?? rounds.delete(deps))) }
  rounds.set(deps, under)
  return under.now
}

async function enqueueAll(deps: Deps): Promise<number> {
  const until = horizon(deps)
  let count = 0
  for (;;) {
    const due = await deps.store.read.dispatch.enqueueDue(until, BATCH)
    await enqueueJobs(deps, due)
    count += due.length
    if (due.length < BATCH) return count
  }
}

/**
 * Enqueues jobs, if the queue answers. If not, nothing is lost: the sweep finds whatever got no job in time.
 * @param booking whose jobs they are, if of one
 */
export async function enqueueJobs(deps: Deps, jobs: readonly SendJob[], booking?: string | null): Promise<void> {
  if (jobs.length === 0) return
  await deps.traces.span('enqueue', { booking, messages: jobs.length }, async (note) => {
    try {
      await deps.queue.enqueue(jobs)
    } catch {
      note({ error: 'jobs-not-enqueued' })
      deps.notice('jobs-not-enqueued', {})
    }
  })
}

/** As `enqueueJobs`, for whoever is waiting for an answer: the jobs need not be there before it. */
export function enqueueJobsSoon(deps: Deps, jobs: readonly SendJob[], booking: string): void {
  if (jobs.length === 0) return
  const work = async () => deps.queue.enqueueSoon(jobs)
  void deps.traces.span('enqueue', { booking, messages: jobs.length }, work)
}
