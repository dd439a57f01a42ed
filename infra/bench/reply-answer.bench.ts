import { createHmac } from 'node:crypto'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import express from 'express'
import type { Pool } from '../../src/adapters/db/pool.ts'
import { listen } from '../../src/adapters/http/listen.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { startService } from '../../src/service.ts'
import { benchStores, type BenchStore } from './stores.ts'

const COUNT = Number(process.env.BENCH_REPLIES ?? 2_000)
const AT_ONCE = 16
const KEY = 'signing-key-of-the-bench'
/** A provider that posts signed JSON, as in infra/gateways/provider.yaml. */
const PROVIDER = {
  kind: 'http',
  name: 'provider',
  request: {
    method: 'POST',
    url: 'http://127.0.0.1:9/none',
    body: { as: 'json', value: { to: '{to}', text: '{text}' } },
  },
  replies: {
    auth: {
      kind: 'hmac',
      secret: 'env:PROVIDER_SIGNING_KEY',
      signed: '{timestamp}.{body}',
      header: 'X-Signature',
      prefix: 'sha256=',
      timestampHeader: 'X-Timestamp',
    },
    from: 'json:from',
    text: 'json:text',
    key: 'json:id',
  },
}
/**
 * What the patients write, in turn, and whether the service answers by itself: to a plain yes there is nothing to say.
 */
const TEXTS = [
  { text: 'My period started today', answered: true },
  { text: 'YES', answered: false },
  { text: 'I can not come that day', answered: true },
  { text: 'Can I take a bath before?', answered: true },
  { text: 'period started 2 days ago', answered: true },
  { text: 'HELP', answered: true },
  { text: 'my period has not started yet', answered: true },
  { text: 'is parking free there', answered: true },
]

/**
 * From a reply at the webhook to its answer written down and in the queue: the provider is told "taken" only then.
 * Against a bare Express service that reads the same body and inserts as many rows in one transaction. No ratio is
 * promised.
 */
export async function bench(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  await writeFile(join(folder, 'provider.json'), JSON.stringify(PROVIDER))
  for (const store of await benchStores(folder)) {
    await onStore(store)
    await store.close()
  }
  await rm(folder, { recursive: true, force: true })
}

async function onStore({ name, config }: BenchStore): Promise<void> {
  const troubles: string[] = []
  const composed = await compose(
    { ...config, port: 0, openDesk: true, secret: () => KEY },
    { inMemory: name === 'embedded', notice: (what) => void (what === 'jobs-not-enqueued' && troubles.push(what)) },
  )
  const running = await startService({ ...config, port: 0 }, composed, 'web')
  await bookAll(`${running.url}/api/v1`)
  const before = await rowsOf(composed.database.records)
  const own = await hearAll(`${running.url}/gateways/provider/reply`)
  const rows = Object.entries(await rowsOf(composed.database.records)).map(
    ([table, count]) => (count - before[table]!) / COUNT,
  )
  await allAnswered(composed)
  if (troubles.length > 0) throw new Error(`${troubles.length} jobs were not set`)
  const bare = await bareService(composed.database.records, rows)
  const other = await hearAll(bare.url)
  const total = rows.reduce((sum, count) => sum + count, 0)
  const times = own.times.filter((_ms, n) => TEXTS[n % TEXTS.length]!.answered)
  console.log(
    `reply-answer: ${name.padEnd(20)} ${own.pace.toFixed(0)}/s, reply to answer queued p50 ${quantile(times, 0.5)}, p99 ${quantile(times, 0.99)}; ` +
      `bare Express with the same ${total.toFixed(1)} rows ${other.pace.toFixed(0)}/s, p50 ${quantile(other.times, 0.5)}, p99 ${quantile(other.times, 0.99)}; ratio ${(own.pace / other.pace).toFixed(2)}`,
  )
  await bare.stop()
  await running.stop()
  await composed.close()
}

const DAY_MS = 86_400_000
const dayFrom = (days: number) => new Date(Date.now() + days * DAY_MS).toISOString().slice(0, 10)
const phoneOf = (n: number) => `+1${200 + (n % 700)}55501${String(Math.floor(n / 700) % 100).padStart(2, '0')}`

/** A visit for each patient, two weeks after the day the period is expected, and enough openings to offer instead. */
async function bookAll(api: string): Promise<void> {
  await sent('PUT', `${api}/clinics/main`, {
    name: 'Harbour Clinic',
    phone: '+16135550100',
    zone: 'UTC',
    country: 'CA',
    settings: { gateway: 'provider' },
  })
  const openings = Array.from({ length: COUNT * 2 }, (_, n) =>
    new Date(Date.now() + 12 * DAY_MS + n * 180_000).toISOString(),
  )
  for (let at = 0; at < openings.length; at += 100)
    await sent('POST', `${api}/openings`, { clinic: 'main', clinician: 'other', at: openings.slice(at, at + 100) })
  await eachAtOnce(8, async (n) => {
    const patient = { name: `Patient ${n}`, phone: phoneOf(n), language: 'en', channel: 'sms', detail: 'full' }
    const visit = new Date(Date.now() + 8 * DAY_MS + n * 600_000).toISOString()
    const cycle = { lmp: dayFrom(-6), usualCycleDays: 28 }
    await sent('POST', `${api}/bookings`, {
      protocol: 'liquid-based-cytology',
      visit,
      patient,
      cycle,
      consent: { recordedBy: 'desk' },
      by: 'desk',
    })
  })
}

/** All replies, so many at once. @returns their pace, and the milliseconds of each */
async function hearAll(url: string): Promise<{ pace: number; times: number[] }> {
  const times: number[] = []
  const began = performance.now()
  await eachAtOnce(AT_ONCE, async (n) => {
    const start = performance.now()
    await reply(url, n)
    times[n] = performance.now() - start
  })
  return { pace: COUNT / ((performance.now() - began) / 1000), times }
}

async function eachAtOnce(atOnce: number, one: (n: number) => Promise<void>): Promise<void> {
  let next = 0
  await Promise.all(
    Array.from({ length: atOnce }, async () => {
      while (next < COUNT) await one(next++)
    }),
  )
}

/** One reply, signed as the provider signs. */
async function reply(url: string, n: number): Promise<void> {
  const body = JSON.stringify({ id: `reply-${n}`, from: phoneOf(n), text: TEXTS[n % TEXTS.length]!.text })
  const timestamp = String(Math.floor(Date.now() / 1000))
  const signature = createHmac('sha256', KEY).update(`${timestamp}.${body}`).digest('hex')
  const headers = { 'Content-Type': 'application/json', 'X-Timestamp': timestamp, 'X-Signature': `sha256=${signature}` }
  const response = await fetch(url, { method: 'POST', headers, body })
  if (response.status >= 300) throw new Error(`${url}: ${response.status} ${await response.text()}`)
  await response.arrayBuffer()
}

async function sent(method: string, url: string, body: object): Promise<void> {
  const response = await fetch(url, {
    method,
    headers: { 'Content-Type': 'application/json' },
    body: JSON.stringify(body),
  })
  if (response.status >= 300) throw new Error(`${url}: ${response.status} ${await response.text()}`)
  await response.arrayBuffer()
}

/** @throws unless each reply that is to be answered has exactly one answer, and that is in the queue. */
async function allAnswered({ database }: Composed): Promise<void> {
  const expected = Array.from({ length: COUNT }, (_, n) => TEXTS[n % TEXTS.length]!.answered).filter(Boolean).length
  const { rows } = await database.records.query(
    `select count(*)::int as all, count(distinct phone_print)::int as numbers, count(*) filter (where state = 'queued')::int as queued from daysix.message where revision is null`,
  )
  const found = rows[0] as { all: number; numbers: number; queued: number }
  if (found.all !== expected || found.numbers !== expected || found.queued !== expected)
    throw new Error(`${expected} answers expected: ${JSON.stringify(found)}`)
}

const TABLES = ['reply', 'message', 'offer', 'follow_up', 'happening', 'opt_out', 'consent']

async function rowsOf(pool: Pool): Promise<Record<string, number>> {
  const rows: Record<string, number> = {}
  for (const table of TABLES)
    rows[table] = (await pool.query(`select count(*)::int as n from daysix.${table}`)).rows[0]!.n as number
  return rows
}

/**
 * The least that could be called the same work: reads the body, writes as many rows of about the same size, answers.
 */
async function bareService(pool: Pool, rows: number[]) {
  await pool.query(
    'create table daysix.bare (id bigint generated always as identity primary key, a text, b text, at timestamptz default now())',
  )
  await pool.query('create index bare_a on daysix.bare (a)')
  const app = express().use(express.json())
  let served = 0
  app.post('/', async (asked, response) => {
    const n = served++
    const client = await pool.connect()
    await client.query('begin')
    for (const each of rows)
      await insert(client, Math.floor((n + 1) * each) - Math.floor(n * each), asked.body.from as string)
    await client.query('commit')
    client.release()
    response.status(200).end()
  })
  return listen(app, '127.0.0.1', 0)
}

async function insert(client: Pick<Pool, 'query'>, count: number, key: string): Promise<void> {
  if (count === 0) return
  const values = Array.from({ length: count }, (_, at) => `($${at * 2 + 1}, $${at * 2 + 2})`).join(', ')
  await client.query(
    `insert into daysix.bare (a, b) values ${values}`,
    Array.from({ length: count }, () => [key, 'x'.repeat(200)]).flat(),
  )
}

function quantile(times: number[], share: number): string {
  const sorted = [...times].sort((a, b) => a - b)
  return `${sorted[Math.min(sorted.length - 1, Math.ceil(sorted.length * share) - 1)]!.toFixed(0)} ms`
}
