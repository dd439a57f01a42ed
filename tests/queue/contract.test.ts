import { randomUUID } from 'node:crypto'
import { setTimeout as pause } from 'node:timers/promises'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { VirtualClock, systemClock } from '../../src/adapters/clock/clocks.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { createBullQueue } from '../../src/adapters/queue/bullmq-queue.ts'
import { databaseQueueStore, redisQueueStore, type QueueStore } from '../../src/adapters/queue/queue-store.ts'
import { createVirtualQueue } from '../../src/adapters/queue/virtual-queue.ts'
import type { Clock } from '../../src/flows/ports/deps.ts'
import type { SendJob, JobQueue } from '../../src/flows/ports/jobs.ts'
import { freshDatabase, serverAddress, testVault } from '../harness/servers.ts'

interface Subject {
  name: string
  open(): Promise<{ queue: JobQueue; clock: Clock; pass(ms: number): Promise<void>; close(): Promise<void> }>
}

const virtual: Subject = {
  name: 'virtual time',
  open: async () => {
    const clock = new VirtualClock(new Date('2026-03-09T13:00:00Z'))
    return {
      queue: createVirtualQueue(clock),
      clock,
      pass: (ms) => clock.moveTo(new Date(clock.now().getTime() + ms)),
      close: async () => {},
    }
  },
}

const onStore = (store: QueueStore, close: () => Promise<void>) => {
  const queue = createBullQueue({ store, clock: systemClock, concurrency: 5, onError: () => {} })
  return { queue, clock: systemClock, pass: (ms: number) => pause(ms).then(() => undefined), close }
}

const onDatabase = async (database: Database, close: () => Promise<void>) => {
  await openStore(database, testVault())
  return onStore(databaseQueueStore(database), close)
}

const embedded: Subject = {
  name: 'BullMQ in the embedded database',
  open: async () => {
    const database = await openEmbedded(undefined)
    return onDatabase(database, () => database.close())
  },
}

const onPostgres = (server: string): Subject => ({
  name: 'BullMQ in PostgreSQL',
  open: async () => {
    const { url, drop } = await freshDatabase(server)
    const database = await openServer(url)
    return onDatabase(database, async () => (await database.close(), await drop()))
  },
})

const onRedis = (name: string, url: string): Subject => ({
  name,
  open: async () => {
    const store = { ...redisQueueStore(url), prefix: `{test-${randomUUID()}}` }
    return onStore(store, async () => {})
  },
})

const subjects = [virtual, embedded]
const postgres = serverAddress('TEST_DATABASE_URL')
const redis = serverAddress('TEST_REDIS_URL')
const cluster = serverAddress('TEST_REDIS_CLUSTER')
if (postgres) subjects.push(onPostgres(postgres))
if (redis) subjects.push(onRedis('BullMQ in Redis', redis))
if (cluster) subjects.push(onRedis('BullMQ in a Redis Cluster', cluster))

/** What every alarm clock must do, whatever it is built on. */
describe.each(subjects)('the alarm clock on $name', ({ open }) => {
  let subject: Awaited<ReturnType<Subject['open']>>
  const rung: { job: SendJob; at: Date }[] = []
  const job = (messageId: string, inMs: number, attempt = 0): SendJob => ({
    messageId,
    revision: 1,
    attempt,
    at: new Date(subject.clock.now().getTime() + inMs),
  })
  const times = (id: string) => rung.filter(({ job: { messageId } }) => messageId === id).length
  /** Lets time pass until it is so; a busy machine may need longer than a quiet one. */
  const until = async (isSo: () => boolean) => {
    for (let step = 0; step < 1_200 && !isSo(); step++) await subject.pass(50)
    expect(isSo()).toBe(true)
  }
  /** Until everything has rung that was to ring before now: one that is set after it has. */
  const untilLaterOnes = async () => {
    const later = job(`m_later_${rung.length}`, 300)
    await subject.queue.enqueue([later])
    await until(() => times(later.messageId) === 1)
  }

  beforeAll(async () => {
    subject = await open()
    await subject.queue.start(async (each) => void rung.push({ job: each, at: subject.clock.now() }))
  })
  afterAll(async () => {
    await subject.queue.stop()
    await subject.close()
  })

  it('rings at its time, not before, and says for which message, plan and attempt', async () => {
    const late = job('m_late', 700)
    await subject.queue.enqueue([late])
    await until(() => times('m_late') === 1)
    expect(rung.find(({ job: { messageId } }) => messageId === 'm_late')!.job).toEqual(late)
    expect(rung.find(({ job: { messageId } }) => messageId === 'm_late')!.at.getTime()).toBeGreaterThanOrEqual(
      late.at.getTime() - 5,
    )
  })

  it('rings at once for a time that has passed', async () => {
    await subject.queue.enqueue([job('m_past', -60_000)])
    await until(() => times('m_past') === 1)
  })

  it('rings once for an job that was set twice, and again for a new attempt', async () => {
    const twice = job('m_twice', 500)
    await subject.queue.enqueue([twice])
    await subject.queue.enqueue([twice])
    await until(() => times('m_twice') > 0)
    await untilLaterOnes()
    expect(times('m_twice')).toBe(1)
    await subject.queue.enqueue([job('m_twice', 100, 1)])
    await until(() => times('m_twice') === 2)
  })

  it('rings also for those that nobody waited for, and once for the same one', async () => {
    subject.queue.enqueueSoon([job('m_soon', 0), job('m_soon_later', 600)])
    subject.queue.enqueueSoon([job('m_soon', 0)])
    await until(() => times('m_soon') > 0 && times('m_soon_later') > 0)
    await untilLaterOnes()
    expect([times('m_soon'), times('m_soon_later')]).toEqual([1, 1])
  })

  it('can be set again after it rang, so that a sweep can repair a lost one', async () => {
    await subject.queue.enqueue([job('m_again', 0)])
    await until(() => times('m_again') === 1)
    // It may be that the first ring is still being put away: the sweep, too, comes again.
    const again = async () => {
      await subject.queue.enqueue([job('m_again', 0)])
      await subject.pass(50)
      return times('m_again') > 1
    }
    for (let step = 0; step < 1_200 && !(await again()); step++);
    expect(times('m_again')).toBeGreaterThan(1)
  })

  it('rings a second time for one whose first ring hangs or is still to come', async () => {
    await subject.queue.enqueue([job('m_hanging', 60_000)])
    await subject.queue.enqueue([{ ...job('m_hanging', 0), requeued: true }])
    await until(() => times('m_hanging') === 1)
  })

  it('says that its store answers', async () => {
    expect(await subject.queue.ready()).toBe(true)
  })

  it('keeps time for many at once', async () => {
    await subject.queue.enqueue(Array.from({ length: 200 }, (_, index) => job(`m_many${index}`, 200)))
    await until(() => rung.filter(({ job: { messageId } }) => messageId.startsWith('m_many')).length === 200)
  })
})
