import { randomUUID } from 'node:crypto'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { createServer, type RequestListener } from 'node:http'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { compose, type Composed } from '../../src/compose.ts'
import { startService } from '../../src/service.ts'
import type { Pool } from '../../src/adapters/db/pool.ts'
import type { BenchOptions } from './bench.ts'
import { comparison, paceOf, pairedRuns, type Run } from './paired-runs.ts'
import { ownTime, serverTime } from './processor-time.ts'
import { bareBooking, insertsOfABooking } from './same-inserts.ts'
import { benchStores, describedLoopback, type BenchStore } from './stores.ts'

const A_RUN = Number(process.env.BENCH_BOOKINGS ?? 100)
const RUNS = 9
/** Not counted: the first ones pay for what a service that runs has paid long ago. */
const WARM_UP = 100
const AT_ONCE = 8
/** From here on nobody else books in a run. */
const FAR_OFF = 8_000

/**
 * Booking through the API against a bare Express service that makes the same inserts, by turns in one run. Promised:
 * half its pace. Then against itself, with its steps told as traces.
 */
export async function bench({ runs = RUNS, stores }: BenchOptions): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  await writeFile(join(folder, 'loopback.json'), describedLoopback('http://127.0.0.1:9/none'))
  for (const store of await benchStores(folder, stores)) {
    await onStore(store, runs)
    await store.close()
  }
  await rm(folder, { recursive: true, force: true })
}

async function onStore({ name, config }: BenchStore, runs: number): Promise<void> {
  const composed = await compose(
    { ...config, port: 0, openDesk: true },
    { inMemory: name === 'embedded', notice: () => {} },
  )
  const running = await startService({ ...config, port: 0 }, composed, 'web')
  const { records } = composed.database
  const clinic = {
    name: 'Harbour Clinic',
    phone: '+16135550100',
    zone: 'UTC',
    country: 'CA',
    settings: { gateway: 'loopback' },
  }
  await sent('PUT', `${running.url}/api/v1/clinics/main`, clinic)
  const own = await measured(records, `${running.url}/api/v1/bookings`)
  const inserts = await insertsOfABooking(records)
  const service = await bareBooking(records, inserts)
  const bare = await measured(records, service.url)
  const rows = inserts.written.reduce((sum, { count }) => sum + count, 0)
  tell(name, rows, await pairedRuns(runs, { own, bare }))
  await service.stop()
  await withTraces({ name, config }, composed, own, runs)
  await running.stop()
  await composed.close()
}

/** The same service on the same store, telling all of its steps to somebody, by turns with the one that tells nothing. */
async function withTraces(
  { name, config }: Pick<BenchStore, 'name' | 'config'>,
  { database, vault }: Composed,
  silent: () => Promise<Run>,
  runs: number,
): Promise<void> {
  const taker = await listening((request, response) => void request.resume().once('end', () => response.end('{}')))
  const settings = { ...config, port: 0, openDesk: true, traces: { url: `${taker.url}/v1/traces`, ratio: 1 } }
  const composed = await compose(settings, { database, vault, inMemory: name === 'embedded', notice: () => {} })
  const running = await startService(settings, composed, 'web')
  const telling = await measured(database.records, `${running.url}/api/v1/bookings`, FAR_OFF)
  const { own, bare } = await pairedRuns(runs, { own: telling, bare: silent })
  console.log(
    `  told as traces: ${name.padEnd(12)} ${paceOf(own)}, untold ${paceOf(bare)}, ${comparison(own, bare).text}`,
  )
  await running.stop()
  await composed.deps.traces.stop()
  await taker.stop()
}

async function listening(answer: RequestListener): Promise<{ url: string; stop(): Promise<void> }> {
  const server = createServer(answer)
  await new Promise<void>((done) => server.listen(0, '127.0.0.1', done))
  const stop = async () => {
    server.closeAllConnections()
    await new Promise((done) => server.close(done))
  }
  return { url: `http://127.0.0.1:${(server.address() as AddressInfo).port}`, stop }
}

/** Warms up a service that books. @returns how to measure a run of it; each run books visits of its own */
async function measured(records: Pool, url: string, first = 0): Promise<() => Promise<Run>> {
  const book = (n: number) => sent('POST', url, request(n))
  await all(first, first + WARM_UP, book)
  let from = first + WARM_UP
  return async () => {
    const before = ownTime() + (await serverTime(records))
    const began = performance.now()
    await all(from, from + A_RUN, book)
    const pace = A_RUN / ((performance.now() - began) / 1000)
    from += A_RUN
    return { pace, cpuMs: (ownTime() + (await serverTime(records)) - before) / A_RUN }
  }
}

function tell(name: string, rows: number, { own, bare }: { own: Run[]; bare: Run[] }): void {
  const { ratio, text } = comparison(own, bare)
  const verdict = ratio >= 0.5 ? '' : '  BELOW the 0.5 promised'
  console.log(
    `booking: ${name.padEnd(20)} ${paceOf(own)}, bare Express with the same ${rows} rows ${paceOf(bare)}, ${text}${verdict}`,
  )
}

function request(n: number) {
  const visit = new Date(Date.now() + (200 + n) * 3_600_000).toISOString()
  const patient = {
    name: `Patient ${n}`,
    phone: `+1${613 + (n % 100)}555${String(100 + (Math.floor(n / 100) % 100)).padStart(4, '0')}`,
    language: 'en',
    channel: 'sms',
    detail: 'full',
  }
  return {
    protocol: 'liquid-based-cytology',
    visit,
    patient,
    cycle: { lmp: 'no-periods' },
    consent: { recordedBy: 'desk' },
    by: 'desk',
  }
}

async function sent(method: string, url: string, body: object): Promise<void> {
  const headers = { 'Content-Type': 'application/json', 'Idempotency-Key': randomUUID() }
  const response = await fetch(url, { method, headers, body: JSON.stringify(body) })
  if (response.status >= 300) throw new Error(`${url}: ${response.status} ${await response.text()}`)
  await response.arrayBuffer()
}

async function all(from: number, to: number, one: (n: number) => Promise<void>): Promise<void> {
  let next = from
  await Promise.all(
    Array.from({ length: AT_ONCE }, async () => {
      while (next < to) await one(next++)
    }),
  )
}
