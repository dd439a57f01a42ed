import { fork, type ChildProcess } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Queue, Worker } from 'bullmq'
import { connections, exchange } from '../../src/adapters/gateways/http/exchange.ts'
import { databaseQueueStore, redisQueueStore, type QueueStore } from '../../src/adapters/queue/queue-store.ts'
import type { Composed } from '../../src/compose.ts'
import { startService } from '../../src/service.ts'
import { composedWithDue, sentSoFar } from './due-messages.ts'
import { benchStores, describedLoopback, loopbackGateway, type BenchStore } from './stores.ts'

const COUNT = Number(process.env.BENCH_MESSAGES ?? 2_000)
const CONCURRENCY = 50
const WORKER = new URL('dispatch-worker.ts', import.meta.url).pathname

/**
 * From a due message to claimed, handed to a loopback network over HTTP, and recorded; against a bare BullMQ worker on the
 * same store that makes the same call and records nothing. Promised: half its pace, with Redis and two workers 0.7.
 */
export async function bench(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  const network = await loopbackGateway()
  await writeFile(join(folder, 'loopback.json'), describedLoopback(network.url))
  for (const store of await benchStores(folder)) {
    await (store.config.redisUrl ? withRedis(store, network.url) : inOneProcess(store, network.url))
    await store.close()
  }
  network.stop()
  await rm(folder, { recursive: true, force: true })
}

async function inOneProcess({ name, config }: BenchStore, url: string): Promise<void> {
  const { composed, messages } = await composedWithDue(config, COUNT, name === 'embedded')
  const bare = await barePace(databaseQueueStore(composed.database), url)
  await composed.deps.queue.set(messages.map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt })))
  const began = performance.now()
  const running = await startService({ ...config, concurrency: CONCURRENCY }, composed, 'worker')
  await allSent(composed)
  tell(name, 'one worker', COUNT / ((performance.now() - began) / 1000), bare, 0.5)
  await running.stop()
  await composed.close()
}

/** A bare worker's jobs a second on this store. */
async function barePace(store: QueueStore, url: string): Promise<number> {
  const options = { connection: store.connection as never, prefix: store.prefix }
  const queue = new Queue('bench-bare', options, store.factory as never)
  await addBare(queue)
  const agent = connections('http:', 100)
  const body = Buffer.from(JSON.stringify({ id: 'x', to: 'y', text: 'z'.repeat(140) }))
  const call = { url: new URL(url), method: 'POST', headers: { 'content-type': 'application/json' }, body }
  let done = 0
  const began = performance.now()
  await new Promise<void>((finished) => {
    const worker = new Worker('bench-bare', async () => void (await exchange(call, agent, 5_000)), { ...options, concurrency: CONCURRENCY }, store.factory as never)
    worker.on('completed', () => ++done === COUNT && void worker.close().then(() => finished()))
  })
  const pace = COUNT / ((performance.now() - began) / 1000)
  await queue.close()
  agent.destroy()
  return pace
}

function addBare(queue: Queue): Promise<unknown> {
  return queue.addBulk(Array.from({ length: COUNT }, (_, n) => ({ name: 'ring', data: { n }, opts: { removeOnComplete: true } })))
}

/** Workers in processes of their own, bare ones and the service's, one and two of each. */
async function withRedis({ name, config }: BenchStore, url: string): Promise<void> {
  const pace: Record<string, number> = {}
  for (const workers of [1, 2]) pace[`bare ${workers}`] = await bareFleet(config.redisUrl!, url, workers)
  for (const workers of [1, 2]) {
    const { composed, messages } = await composedWithDue(config, COUNT, false)
    const before = await sentSoFar(composed)
    const children = await Promise.all(Array.from({ length: workers }, () => forked(['daysix'], environmentOf(config))))
    const began = performance.now()
    await composed.deps.queue.set(messages.map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt })))
    await allSent(composed, before + COUNT)
    pace[`daysix ${workers}`] = COUNT / ((performance.now() - began) / 1000)
    for (const child of children) child.kill('SIGKILL')
    await composed.deps.queue.stop()
    await composed.close()
  }
  tell(name, 'one worker', pace['daysix 1']!, pace['bare 1']!, 0.5)
  tell(name, 'two workers against one bare', pace['daysix 2']!, pace['bare 1']!, 0.7)
  tell(name, 'two workers against two bare', pace['daysix 2']!, pace['bare 2']!, null)
}

async function bareFleet(redisUrl: string, url: string, workers: number): Promise<number> {
  const store = redisQueueStore(redisUrl)
  const name = `bench-bare-${workers}`
  const queue = new Queue(name, { connection: store.connection as never, prefix: store.prefix }, store.factory as never)
  await queue.obliterate({ force: true })
  const children = await Promise.all(Array.from({ length: workers }, () => forked(['bare', url, name], { REDIS_URL: redisUrl })))
  const began = performance.now()
  await addBare(queue)
  while ((await queue.getJobCountByTypes('waiting', 'active')) > 0) await new Promise((done) => setTimeout(done, 10))
  const pace = COUNT / ((performance.now() - began) / 1000)
  for (const child of children) child.kill('SIGKILL')
  await queue.close()
  await store.close()
  return pace
}

function environmentOf({ databaseUrl, redisUrl, gatewaysDir, key }: BenchStore['config']): Record<string, string> {
  return { NODE_ENV: 'test', LOG_LEVEL: 'silent', DATABASE_URL: databaseUrl!, REDIS_URL: redisUrl!, GATEWAYS_DIR: gatewaysDir!, DAYSIX_KEY: key!, PUBLIC_URL: 'http://127.0.0.1:9' }
}

async function forked(args: string[], environment: Record<string, string>): Promise<ChildProcess> {
  const child = fork(WORKER, args, { execArgv: ['--import', 'tsx'], env: { ...process.env, ...environment } })
  await new Promise((done) => child.once('message', done))
  return child
}

async function allSent(composed: Composed, count = COUNT): Promise<void> {
  while ((await sentSoFar(composed)) < count) await new Promise((done) => setTimeout(done, 50))
}

function tell(name: string, what: string, pace: number, bare: number, promised: number | null): void {
  const ratio = pace / bare
  const verdict = promised === null ? '' : ratio >= promised ? `  (promised ${promised})` : `  BELOW the ${promised} promised`
  console.log(`dispatch: ${name.padEnd(20)} ${what.padEnd(30)} ${pace.toFixed(0).padStart(6)}/s, bare ${bare.toFixed(0).padStart(6)}/s, ratio ${ratio.toFixed(2)}${verdict}`)
}

