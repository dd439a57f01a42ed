// One worker in a process of its own: the service's, or a bare BullMQ worker that makes the same call and records
// nothing.
import { Worker } from 'bullmq'
import { connections, exchange } from '../../src/adapters/gateways/http/exchange.ts'
import { redisQueueStore } from '../../src/adapters/queue/queue-store.ts'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { startService } from '../../src/service.ts'
import { ownTime } from './processor-time.ts'

const [mode, url, queue, concurrency] = process.argv.slice(2)
process.on('disconnect', () => process.exit(0))
if (mode === 'bare') {
  const store = redisQueueStore(process.env.REDIS_URL!)
  const agent = connections('http:', 100)
  const call = {
    url: new URL(url!),
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: Buffer.from(JSON.stringify({ id: 'x', to: 'y', text: 'z'.repeat(140) })),
  }
  const worker = new Worker(
    queue!,
    () => exchange(call, agent, 5_000),
    { connection: store.connection as never, prefix: store.prefix, concurrency: Number(concurrency) },
    store.factory as never,
  )
  await worker.waitUntilReady()
} else {
  const config = { ...loadConfig(), sweepSeconds: 0 }
  await startService(config, await compose(config, { notice: () => {} }), 'worker')
}
process.on('message', () => process.send?.(ownTime()))
process.send?.('ready')
