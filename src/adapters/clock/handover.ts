import type { Clock } from '../../flows/ports/deps.ts'
import type { SendJob, JobQueue } from '../../flows/ports/jobs.ts'
import { createVirtualQueue } from '../queue/virtual-queue.ts'
import { VirtualClock, systemClock } from './clocks.ts'

/**
 * Time that begins virtual and can go on as real time: the demo tells its story on the one and lives on with the other.
 */
export interface HandOverTime {
  virtual: VirtualClock
  clock: Clock
  queue: JobQueue
  after(ms: number, work: () => Promise<void>): void
  /** From here on the system's clock counts and `queue` rings. */
  handOver(queue: JobQueue): Promise<void>
}

export function createHandOverTime(start: Date): HandOverTime {
  const virtual = new VirtualClock(start)
  let clock: Clock = virtual
  let queue = createVirtualQueue(virtual)
  let ring: ((alarm: SendJob) => Promise<void>) | null = null
  return {
    virtual,
    clock: { now: () => clock.now() },
    queue: {
      enqueue: (jobs) => queue.enqueue(jobs),
      enqueueSoon: (jobs) => queue.enqueueSoon(jobs),
      ready: () => queue.ready(),
      start: (listener) => queue.start((ring = listener)),
      pause: () => queue.pause(),
      stop: () => queue.stop(),
    },
    after: (ms, work) => {
      if (clock === virtual) virtual.after(ms, work)
      else setTimeout(() => void work(), ms).unref()
    },
    handOver: async (real) => {
      clock = systemClock
      queue = real
      if (ring) await real.start(ring)
    },
  }
}
