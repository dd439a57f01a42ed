import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { startService } from '../../src/service.ts'
import { composedWithDue, lateness, sentSoFar } from './due-messages.ts'
import { benchStores, describedLoopback, loopbackGateway } from './stores.ts'

const COUNT = Number(process.env.BENCH_BURST ?? 5_000)

/** Thousands of messages due at the same moment, one worker: time to hand over all of them, and how late each was. */
export async function bench(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  const network = await loopbackGateway()
  await writeFile(join(folder, 'loopback.json'), describedLoopback(network.url))
  for (const { name, config, close } of await benchStores(folder)) {
    const { composed, messages } = await composedWithDue(config, COUNT, name === 'embedded')
    // Due from now: making them took a while.
    const { rows } = await composed.database.records.query(
      `update daysix.message set send_at = now() returning send_at`,
    )
    const at = rows[0]!.send_at as Date
    await composed.deps.queue.enqueue(
      messages.map(({ id, revision, attempt }) => ({ messageId: id, revision, attempt, at })),
    )
    const running = await startService(config, composed, 'worker')
    const began = performance.now()
    while ((await sentSoFar(composed)) < COUNT) await new Promise((done) => setTimeout(done, 100))
    const seconds = (performance.now() - began) / 1000
    const { p50, p99 } = await lateness(composed)
    console.log(
      `burst: ${name.padEnd(20)} ${COUNT} at once in ${seconds.toFixed(1)} s (${(COUNT / seconds).toFixed(0)}/s), late p50 ${p50.toFixed(1)} s, p99 ${p99.toFixed(1)} s`,
    )
    await running.stop()
    await composed.close()
    await close()
  }
  network.stop()
  await rm(folder, { recursive: true, force: true })
}
