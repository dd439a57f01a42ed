import { Queue, Worker } from 'bullmq'
import type { Clock } from '../../flows/ports/deps.ts'
import type { SendJob, JobQueue } from '../../flows/ports/jobs.ts'
import { jobKey } from './job-key.ts'
import type { QueueStore } from './queue-store.ts'

const NAME = 'messages'
/** Enqueueing is part of answering a request: rather left to the sweep than waited for. */
const PATIENCE_MS = 3_000
/** So long jobs that nobody waits for are collected: one call for many costs hardly more than one for one. */
const COLLECT_MS = 250
/** Sends in flight are given this long to be finished. */
const STOP_MS = 25_000
/** A store that was away is tried again after this. */
const RETRY_MS = 1_000
/** How long a job may go unheard of before another worker takes it; the jobs of a killed worker wait that long. */
const LOCK_MS = 20_000

export interface BullQueueOptions {
  store: QueueStore
  clock: Clock
  /** Jobs handled at once by this process. */
  concurrency: number
  /** Told when the queue store fails; the sweep mends what was missed. */
  onError: (error: Error, messageId?: string) => void
}

/**
 * The real queue. A job that fails is not retried here: the message is still in the database and the sweep finds it.
 */
export function createBullQueue({ store, clock, concurrency, onError }: BullQueueOptions): JobQueue {
  const options = { connection: store.connection as never, prefix: store.prefix }
  const queue = new Queue(NAME, options, store.factory as never)
  queue.on('error', onError)
  const add = async (jobs: readonly SendJob[]) => {
    if (!store.reachable()) throw new QueueAway()
    await inTime(queue.addBulk(jobs.map((job) => toJob(job, clock.now()))))
  }
  const later = behind(add, onError)
  let worker: Worker | null = null
  let ended = false
  return {
    enqueue: async (jobs) => {
      if (jobs.length > 0) await add(jobs)
    },
    enqueueSoon: later.add,
    ready: async () => {
      if (!store.reachable()) return false
      return inTime(store.ping()).then(
        () => true,
        () => false,
      )
    },
    start: async (run) => {
      const pace = {
        concurrency,
        runRetryDelay: RETRY_MS,
        lockDuration: LOCK_MS,
        stalledInterval: LOCK_MS,
        maxStalledCount: 5,
      }
      worker = new Worker(
        NAME,
        async ({ data }) => run(fromJob(data as JobData)),
        { ...options, ...pace },
        store.factory as never,
      )
      worker.on('error', onError)
      worker.on('failed', (job, error) => onError(error, (job?.data as JobData | undefined)?.m))
      // Not waited for: a store that is away now comes back later, and the start must not hang on it.
    },
    pause: async () => {
      ended = true
      await worker?.pause(true)
    },
    rest: async (resting) => {
      if (ended) return
      await (resting ? worker?.pause(true) : worker?.resume())
    },
    stop: async () => {
      // A store that is away must not keep the process from stopping.
      await Promise.race([later.flush().then(() => closeAll(worker, queue)), pause(STOP_MS)])
      await store.close()
    },
  }
}

/** Does what is added together, a moment later. */
function behind(work: (jobs: readonly SendJob[]) => Promise<void>, onError: (error: Error) => void) {
  let waiting = new Map<string, SendJob>()
  let timer: NodeJS.Timeout | undefined
  const flush = async () => {
    clearTimeout(timer)
    timer = undefined
    const jobs = [...waiting.values()]
    waiting = new Map()
    if (jobs.length > 0) await work(jobs).catch(onError)
  }
  return {
    add: (jobs: readonly SendJob[]) => {
      for (const job of jobs) waiting.set(jobKey(job), job)
      timer ??= setTimeout(() => void flush(), COLLECT_MS).unref()
    },
    flush,
  }
}

/** The worker's jobs under way are finished first. */
async function closeAll(worker: Worker | null, queue: Queue): Promise<void> {
  await worker?.close()
  await queue.close()
}

/** The queue's store does not answer. */
export class QueueAway extends Error {
  constructor() {
    super('The store of the queue does not answer.')
    this.name = 'QueueAway'
  }
}

const pause = (ms: number) => new Promise<void>((done) => setTimeout(done, ms).unref())

/** A call that hangs fails after a while; what it set nevertheless does no harm. */
async function inTime<T>(call: Promise<T>): Promise<T> {
  call.catch(() => {})
  let timer: NodeJS.Timeout | undefined
  const late = new Promise<never>((_done, fail) => {
    timer = setTimeout(() => fail(new QueueAway()), PATIENCE_MS)
  })
  return Promise.race([call, late]).finally(() => clearTimeout(timer))
}

interface JobData {
  m: string
  r: number | null
  a: number
  at: number
}

function toJob(job: SendJob, now: Date) {
  const data: JobData = { m: job.messageId, r: job.revision, a: job.attempt, at: job.at.getTime() }
  return {
    name: 'send',
    data,
    opts: {
      jobId: jobKey(job),
      // Else it would be the machine's time, which may be another one than everybody else's.
      timestamp: now.getTime(),
      delay: Math.max(0, job.at.getTime() - now.getTime()),
      removeOnComplete: true,
      removeOnFail: true,
    },
  }
}

function fromJob({ m, r, a, at }: JobData): SendJob {
  return { messageId: m, revision: r, attempt: a, at: new Date(at) }
}
