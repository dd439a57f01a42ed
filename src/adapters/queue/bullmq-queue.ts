import { createPostgresBackend, createRedisBackend, Queue, Worker, type BackendFactory } from 'bullmq'
import { Redis } from 'ioredis'
import type { Alarm, AlarmQueue, Clock } from '../../flows/ports.ts'
import type { Database } from '../db/pool.ts'
import { alarmKey } from './alarm-key.ts'

const NAME = 'alarms'

/** Where BullMQ keeps its jobs, with how to let go of it. */
export interface QueueStore {
  factory: BackendFactory
  connection: object
  prefix: string
  close(): Promise<void>
}

/** The same database as the records: embedded, or a PostgreSQL server. */
export function databaseQueueStore(database: Database): QueueStore {
  return { factory: createPostgresBackend as unknown as BackendFactory, connection: database.queue, prefix: 'daysix', close: async () => {} }
}

/** Redis, for large regions. The hash tag in the prefix keeps all keys of the queue in one slot of a cluster. */
export function redisQueueStore(url: string): QueueStore {
  const connection = new Redis(url, { maxRetriesPerRequest: null, lazyConnect: true })
  connection.on('error', () => {}) // reconnects by itself; what a failed call means is told to the caller
  return {
    factory: createRedisBackend as unknown as BackendFactory,
    connection,
    prefix: '{daysix}',
    close: async () => connection.disconnect(),
  }
}

export interface BullQueueOptions {
  store: QueueStore
  clock: Clock
  /** Rings handled at once by this process. */
  concurrency: number
  /** Told when the queue store fails; the sweep mends what was missed. */
  onError: (error: Error) => void
}

/** The real alarm clock. A ring that fails is not retried here: the message is still in the database and the sweep finds it. */
export function createBullQueue({ store, clock, concurrency, onError }: BullQueueOptions): AlarmQueue {
  const options = { connection: store.connection as never, prefix: store.prefix }
  const queue = new Queue(NAME, options, store.factory as never)
  queue.on('error', onError)
  let worker: Worker | null = null
  return {
    set: async (alarms) => {
      if (alarms.length > 0) await queue.addBulk(alarms.map((alarm) => job(alarm, clock.now())))
    },
    start: async (ring) => {
      worker = new Worker(NAME, async ({ data }) => ring(fromJob(data as JobData)), { ...options, concurrency }, store.factory as never)
      worker.on('error', onError)
      worker.on('failed', (_job, error) => onError(error))
      await worker.waitUntilReady()
    },
    stop: async () => {
      await worker?.close()
      await queue.close()
      await store.close()
    },
  }
}

interface JobData {
  m: string
  r: number | null
  a: number
  at: number
}

function job(alarm: Alarm, now: Date) {
  const data: JobData = { m: alarm.messageId, r: alarm.revision, a: alarm.attempt, at: alarm.at.getTime() }
  return {
    name: 'ring',
    data,
    opts: {
      jobId: alarmKey(alarm),
      delay: Math.max(0, alarm.at.getTime() - now.getTime()),
      removeOnComplete: true,
      removeOnFail: true,
    },
  }
}

function fromJob({ m, r, a, at }: JobData): Alarm {
  return { messageId: m, revision: r, attempt: a, at: new Date(at) }
}
