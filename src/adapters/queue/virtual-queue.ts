import type { SendJob, JobQueue } from '../../flows/ports/jobs.ts'
import type { VirtualClock } from '../clock/clocks.ts'
import { jobKey } from './job-key.ts'

/** The queue that runs by virtual time. Same promises as the real one: a job enqueued twice runs once. */
export function createVirtualQueue(clock: VirtualClock): JobQueue {
  const known = new Set<string>()
  let run: ((job: SendJob) => Promise<void>) | null = null
  const enqueue = (jobs: readonly SendJob[]) => {
    for (const job of jobs) {
      const key = jobKey(job)
      if (known.has(key)) continue
      known.add(key)
      clock.at(job.at, async () => {
        known.delete(key)
        await run?.(job)
      })
    }
  }
  return {
    enqueue: async (jobs) => enqueue(jobs),
    enqueueSoon: enqueue,
    ready: async () => true,
    start: async (listener) => {
      run = listener
    },
    // There is nobody to leave it to.
    rest: async () => {},
    pause: async () => {
      run = null
    },
    stop: async () => {
      run = null
    },
  }
}
