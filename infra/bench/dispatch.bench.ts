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
import { composedWithDue, sentSoFar } from './due-messages.ts'
import { benchStores, describedLoopback, loopbackGateway, type BenchStore } from './stores.ts'

const COUNT = Number(process.env.BENCH_MESSAGES ?? 2_000)
/** As the service has it when nothing is set; the bare worker gets the same. */
const CONCURRENCY = loadConfig().concurrency
/** By turns, and the median of each: a machine that others use too is not equally quick all the time. */
const TURNS = 3
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

type Pace = () => Promise<number>

/** Each pace by turns. @returns the median of each, messages a second */
async function byTurns<Name extends string>(paces: Record<Name, Pace>): Promise<Record<Name, number>> {
  const found = Object.fromEntries(Object.keys(paces).map((name) => [name, [] as number[]])) as Record<Name, number[]>
  for (let turn = 0; turn < TURNS; turn++) for (const name of Object.keys(paces) as Name[]) found[name].push(await paces[name]())
  return Object.fromEntries(Object.entries<number[]>(found).map(([name, all]) => [name, all.sort((a, b) => a - b)[Math.floor(TURNS / 2)]])) as Record<Name, number>
}

async function inOneProcess({ name, config }: BenchStore, url: string): Promise<void> {
  const embedded = name === 'embedded'
  const { bare, own } = await byTurns({ bare: () => bareHere(config, url, embedded), own: () => ownHere(config, embedded) })
  tell(name, 'one worker', own, bare, 0.5)
}

async function ownHere(config: Config, embedded: boolean): Promise<number> {
  const { composed, messages } = await composedWithDue(config, COUNT, embedded)
  const before = await sentSoFar(composed)
  await composed.deps.queue.enqueue(alarmsOf(messages))
  const began = performance.now()
  const running = await startService({ ...config, concurrency: CONCURRENCY }, composed, 'worker')
  await allSent(composed, before + COUNT)
  const pace = COUNT / ((performance.now() - began) / 1000)
  await running.stop()
  await composed.close()
  return pace
}

async function bareHere(config: Config, url: string, embedded: boolean): Promise<number> {
  const composed = await compose(config, { inMemory: embedded, notice: () => {} })
  const pace = await barePace(databaseQueueStore(composed.database), url)
  await composed.close()
  return pace
}

const alarmsOf = (messages: readonly Message[]) => messages.map(({ id, revision, attempt, sendAt }) => ({ messageId: id, revision, attempt, at: sendAt }))

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
  const { bare1, bare2, own1, own2 } = await byTurns({
    bare1: () => bareFleet(config.redisUrl!, url, 1),
    own1: () => ownFleet(config, 1),
    own2: () => ownFleet(config, 2),
    bare2: () => bareFleet(config.redisUrl!, url, 2),
  })
  tell(name, 'one worker', own1, bare1, 0.5)
  tell(name, 'two workers against one bare', own2, bare1, 0.7)
  tell(name, 'two workers against two bare', own2, bare2, null)
}

async function ownFleet(config: Config, workers: number): Promise<number> {
  const { composed, messages } = await composedWithDue(config, COUNT, false)
  const before = await sentSoFar(composed)
  const children = await Promise.all(Array.from({ length: workers }, () => forked(['daysix'], environmentOf(config))))
  const began = performance.now()
  await composed.deps.queue.enqueue(alarmsOf(messages))
  await allSent(composed, before + COUNT)
  const pace = COUNT / ((performance.now() - began) / 1000)
  for (const child of children) child.kill('SIGKILL')
  await composed.deps.queue.stop()
  await composed.close()
  return pace
}

async function bareFleet(redisUrl: string, url: string, workers: number): Promise<number> {
  const store = redisQueueStore(redisUrl)
  const name = `bench-bare-${workers}`
  const queue = new Queue(name, { connection: store.connection as never, prefix: store.prefix }, store.factory as never)
  await queue.obliterate({ force: true })
  const children = await Promise.all(Array.from({ length: workers }, () => forked(['bare', url, name, String(CONCURRENCY)], { REDIS_URL: redisUrl })))
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

async function allSent(composed: Composed, count: number): Promise<void> {
  while ((await sentSoFar(composed)) < count) await new Promise((done) => setTimeout(done, 50))
}

function tell(name: string, what: string, pace: number, bare: number, promised: number | null): void {
  const ratio = pace / bare
  const verdict = promised === null ? '' : ratio >= promised ? `  (promised ${promised})` : `  BELOW the ${promised} promised`
  console.log(`dispatch: ${name.padEnd(20)} ${what.padEnd(30)} ${pace.toFixed(0).padStart(6)}/s, bare ${bare.toFixed(0).padStart(6)}/s, ratio ${ratio.toFixed(2)}${verdict}`)
}
