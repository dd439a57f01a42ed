import { fork, type ChildProcess } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Queue, Worker } from 'bullmq'
import { connections, exchange } from '../../src/adapters/gateways/http/exchange.ts'
import { databaseQueueStore, redisQueueStore, type QueueStore } from '../../src/adapters/queue/queue-store.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig, type Config } from '../../src/config.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import { startService } from '../../src/service.ts'
import type { BenchOptions } from './bench.ts'
import { composedWithDue, sentSoFar, waiting } from './due-messages.ts'
import { comparison, paceOf, pairedRuns, type Run } from './paired-runs.ts'
import { ownTime, serverTime } from './processor-time.ts'
import { benchStores, describedLoopback, loopbackGateway, type BenchStore } from './stores.ts'

const COUNT = Number(process.env.BENCH_MESSAGES ?? 2_000)
/** As the service has it when nothing is set; the bare worker gets the same. */
const CONCURRENCY = loadConfig().concurrency
const RUNS = 5
const CHUNK = 500
/** As this program is run: from its source. */
const RUN = new URL('../run.mjs', import.meta.url).pathname
const WORKER = 'bench/dispatch-worker.ts'

/**
 * From a due message to claimed, handed to a loopback network over HTTP, and recorded; against a bare BullMQ worker on
 * the same store that makes the same call and records nothing. Promised: half its pace, with Redis and two workers 0.7.
 */
export async function bench({ runs = RUNS, stores }: BenchOptions): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  const network = await loopbackGateway()
  await writeFile(join(folder, 'loopback.json'), describedLoopback(network.url))
  for (const store of await benchStores(folder, stores)) {
    await (store.config.redisUrl ? withRedis(store, network.url, runs) : inOneProcess(store, network.url, runs))
    await store.close()
  }
  network.stop()
  await rm(folder, { recursive: true, force: true })
}

async function inOneProcess({ name, config }: BenchStore, url: string, runs: number): Promise<void> {
  const embedded = name === 'embedded'
  const { bare, own } = await pairedRuns(runs, {
    bare: () => bareHere(config, url, embedded),
    own: () => ownHere(config, embedded),
  })
  tell(name, 'one worker', own, bare, 0.5)
}

/** Pace and processor time of COUNT messages. @param time milliseconds of all processes that take part, so far */
async function measured(work: () => Promise<void>, time: () => Promise<number>): Promise<Run> {
  const before = await time()
  const began = performance.now()
  await work()
  const pace = COUNT / ((performance.now() - began) / 1000)
  return { pace, cpuMs: ((await time()) - before) / COUNT }
}

const timeWith = async ({ database }: Composed) => ownTime() + (await serverTime(database.records))

async function ownHere(config: Config, embedded: boolean): Promise<Run> {
  const { composed, messages } = await composedWithDue(config, COUNT, embedded)
  const before = await sentSoFar(composed)
  await inChunks(jobsOf(messages), (jobs) => composed.deps.queue.enqueue(jobs))
  let running: Awaited<ReturnType<typeof startService>> | undefined
  const work = async () => {
    running = await startService({ ...config, concurrency: CONCURRENCY }, composed, 'worker')
    await allSent(composed, before + COUNT)
  }
  const run = await measured(work, () => timeWith(composed))
  await running!.stop()
  await composed.close()
  return run
}

async function bareHere(config: Config, url: string, embedded: boolean): Promise<Run> {
  const composed = await compose(config, { inMemory: embedded, notice: () => {} })
  const store = databaseQueueStore(composed.database)
  const queue = new Queue(
    'bench-bare',
    { connection: store.connection as never, prefix: store.prefix },
    store.factory as never,
  )
  await addBare(queue)
  const run = await measured(
    () => bareWorker(store, url),
    () => timeWith(composed),
  )
  await queue.close()
  await composed.close()
  return run
}

const jobsOf = (messages: readonly Message[]) =>
  messages.map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt }))

/** Runs a bare worker in this process until it has done all jobs. */
async function bareWorker(store: QueueStore, url: string): Promise<void> {
  const agent = connections('http:', 100)
  const body = Buffer.from(JSON.stringify({ id: 'x', to: 'y', text: 'z'.repeat(140) }))
  const call = { url: new URL(url), method: 'POST', headers: { 'content-type': 'application/json' }, body }
  const options = { connection: store.connection as never, prefix: store.prefix, concurrency: CONCURRENCY }
  let done = 0
  await new Promise<void>((finished) => {
    const worker = new Worker(
      'bench-bare',
      async () => void (await exchange(call, agent, 5_000)),
      options,
      store.factory as never,
    )
    worker.on('completed', () => ++done === COUNT && void worker.close().then(() => finished()))
  })
  agent.destroy()
}

function addBare(queue: Queue): Promise<void> {
  const jobs = Array.from({ length: COUNT }, (_, n) => ({
    name: 'send',
    data: { n },
    opts: { removeOnComplete: true },
  }))
  return inChunks(jobs, (some) => queue.addBulk(some))
}

/** As the service enqueues what is due: a busy machine would not take all of it in time in one piece. */
async function inChunks<T>(all: readonly T[], work: (some: T[]) => Promise<unknown>): Promise<void> {
  for (let at = 0; at < all.length; at += CHUNK) await work(all.slice(at, at + CHUNK))
}

/** Workers in processes of their own, bare ones and the service's, one and two of each. */
async function withRedis({ name, config }: BenchStore, url: string, runs: number): Promise<void> {
  const { bare1, bare2, own1, own2 } = await pairedRuns(runs, {
    bare1: () => bareFleet(config.redisUrl!, url, 1),
    own1: () => ownFleet(config, 1),
    own2: () => ownFleet(config, 2),
    bare2: () => bareFleet(config.redisUrl!, url, 2),
  })
  tell(name, 'one worker', own1, bare1, 0.5)
  tell(name, 'two workers against one bare', own2, bare1, 0.7)
  tell(name, 'two workers against two bare', own2, bare2, null)
}

async function ownFleet(config: Config, workers: number): Promise<Run> {
  const { composed, messages } = await composedWithDue(config, COUNT, false)
  const before = await sentSoFar(composed)
  const children = await forkedAll(workers, ['daysix'], environmentOf(config))
  const work = async () => {
    await inChunks(jobsOf(messages), (jobs) => composed.deps.queue.enqueue(jobs))
    await allSent(composed, before + COUNT)
  }
  const run = await measured(work, async () => (await timeOf(children)) + (await serverTime(composed.database.records)))
  for (const child of children) child.disconnect()
  await composed.deps.queue.stop()
  await composed.close()
  return run
}

async function bareFleet(redisUrl: string, url: string, workers: number): Promise<Run> {
  const store = redisQueueStore(redisUrl)
  const name = `bench-bare-${workers}`
  const queue = new Queue(name, { connection: store.connection as never, prefix: store.prefix }, store.factory as never)
  await queue.obliterate({ force: true })
  const children = await forkedAll(workers, ['bare', url, name, String(CONCURRENCY)], { REDIS_URL: redisUrl })
  const work = async () => {
    await addBare(queue)
    while ((await queue.getJobCountByTypes('waiting', 'active')) > 0) await new Promise((done) => setTimeout(done, 10))
  }
  const run = await measured(work, () => timeOf(children))
  for (const child of children) child.disconnect()
  await queue.close()
  await store.close()
  return run
}

function environmentOf({ databaseUrl, redisUrl, gatewaysDir, key }: BenchStore['config']): Record<string, string> {
  return {
    NODE_ENV: 'test',
    LOG_LEVEL: 'silent',
    DATABASE_URL: databaseUrl!,
    REDIS_URL: redisUrl!,
    GATEWAYS_DIR: gatewaysDir!,
    DAYSIX_KEY: key!,
    PUBLIC_URL: 'http://127.0.0.1:9',
  }
}

/**
 * With the flags of this process: `node --cpu-prof --import tsx infra/bench/bench.ts dispatch` profiles each worker.
 */
async function forked(args: string[], environment: Record<string, string>): Promise<ChildProcess> {
  const child = fork(RUN, [WORKER, ...args], { env: { ...process.env, ...environment } })
  await new Promise((done) => child.once('message', done))
  return child
}

function forkedAll(count: number, args: string[], environment: Record<string, string>): Promise<ChildProcess[]> {
  return Promise.all(Array.from({ length: count }, () => forked(args, environment)))
}

/** Milliseconds of processor time that these have taken so far. */
async function timeOf(children: readonly ChildProcess[]): Promise<number> {
  const times = await Promise.all(
    children.map(
      (child) =>
        new Promise<number>((told) => {
          child.once('message', (time) => told(time as number))
          child.send('time')
        }),
    ),
  )
  return times.reduce((sum, time) => sum + time, 0)
}

/** Counted once, when nothing waits any more: counting each time would take longer the more was sent before. */
async function allSent(composed: Composed, count: number): Promise<void> {
  while (await waiting(composed)) await new Promise((done) => setTimeout(done, 50))
  const sent = await sentSoFar(composed)
  if (sent !== count) throw new Error(`${sent} messages were sent, not ${count}`)
}

function tell(name: string, what: string, own: readonly Run[], bare: readonly Run[], promised: number | null): void {
  const { ratio, text } = comparison(own, bare)
  const verdict =
    promised === null ? '' : ratio >= promised ? `  (promised ${promised})` : `  BELOW the ${promised} promised`
  console.log(`dispatch: ${name.padEnd(20)} ${what.padEnd(30)} ${paceOf(own)}, bare ${paceOf(bare)}, ${text}${verdict}`)
}
