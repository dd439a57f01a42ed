// The service in a process of its own, to be filled, measured and asked how much memory it holds. It answers one
// message at a time.
import { Queue } from 'bullmq'
import { databaseQueueStore, redisQueueStore } from '../../src/adapters/queue/queue-store.ts'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { replanChanged } from '../../src/flows/preparation/replan-changed.ts'
import { enqueueDue } from '../../src/flows/messages/enqueue-due.ts'
import { requeueAll, sweep } from '../../src/flows/messages/sweep.ts'
import { startService, type Role } from '../../src/service.ts'

const PAUSE_MS = 500

/** What it can be asked, and what it answers. */
export interface Asked {
  /** Rows of a statement; of several statements, those of the last. */
  sql: (text: string) => Promise<Record<string, unknown>[]>
  /** Milliseconds of one sweep. */
  sweep: () => Promise<number>
  /** Puts in the empty queue what is due within the horizon. */
  ring: () => Promise<{ count: number; ms: number }>
  /** Sets every job of the horizon again, as a worker does at its start. */
  reset: () => Promise<number>
  /** Looks for visits planned by another content of their protocol, as a worker does at its start. */
  replan: () => Promise<number>
  metrics: () => Promise<number>
  /** What the service page counts. */
  counts: () => Promise<number>
  jobs: () => Promise<number>
  /** Bytes that the process holds once its rubbish is collected. */
  memory: () => Promise<number>
  stop: () => Promise<void>
}

const began = performance.now()
const config = { ...loadConfig(), port: 0, sweepSeconds: 0, openDesk: true }
const composed = await compose(config, { notice: () => {} })
const running = await startService(config, composed, process.argv[2] as Role)
const { deps, database } = composed

const store = config.redisUrl ? redisQueueStore(config.redisUrl) : databaseQueueStore(database)
const queue = new Queue(
  'messages',
  { connection: store.connection as never, prefix: store.prefix },
  store.factory as never,
)

/** Nothing is left of those who used it before, and its first use is over. */
async function emptyQueue(): Promise<void> {
  await deps.queue.enqueue([{ messageId: 'm_none', revision: 1, attempt: 0, at: new Date(Date.now() + 86_400_000) }])
  await queue.obliterate({ force: true })
}

async function timed(work: () => Promise<unknown>): Promise<number> {
  const start = performance.now()
  await work()
  return performance.now() - start
}

const asked: Asked = {
  sql: async (text) => (await database.records.query(text)).rows,
  sweep: () => timed(() => sweep(deps)),
  ring: async () => {
    await emptyQueue()
    let count = 0
    const ms = await timed(async () => (count = await enqueueDue(deps)))
    return { count, ms }
  },
  reset: () => timed(() => requeueAll(deps)),
  replan: () => timed(() => replanChanged(deps)),
  metrics: () => timed(() => composed.metrics.text()),
  counts: () => timed(() => deps.store.read.messages.figures(new Date(), new Date(Date.now() - 86_400_000))),
  jobs: () => queue.getJobCountByTypes('delayed', 'waiting', 'prioritized'),
  memory: async () => {
    for (let round = 0; round < 3; round++) {
      globalThis.gc!()
      await new Promise((done) => setTimeout(done, PAUSE_MS))
    }
    return process.memoryUsage().rss
  },
  stop: async () => {
    await queue.close()
    await running.stop()
    await composed.close()
  },
}

process.on('message', ({ what, text }: { what: keyof Asked; text: string }) => {
  const answer = (asked[what] as (text: string) => Promise<unknown>)(text)
  void answer
    .then(
      (value) => process.send!({ value }),
      (error: Error) => process.send!({ error: error.stack }),
    )
    .then(() => what === 'stop' && process.disconnect())
})
process.on('disconnect', () => process.exit(0))
process.send!({ value: { url: running.url, ms: performance.now() - began } })
