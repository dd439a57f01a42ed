import { fork, type ChildProcess } from 'node:child_process'
import { mkdtemp, readdir, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import pg from 'pg'
import type { Config } from '../../src/config.ts'
import { CLINICS, fill } from './growth-fill.ts'
import type { Asked } from './growth-service.ts'
import { benchStores, describedLoopback, loopbackGateway, type BenchStore, type StoreName } from './stores.ts'

const sizesOf = (listed: string) => listed.split(',').filter(Boolean).map(Number)
const SIZES = sizesOf(process.env.BENCH_GROWTH ?? '10000,100000,1000000')
/** The embedded store is for a clinic, not for a country. */
const EMBEDDED_SIZES = sizesOf(process.env.BENCH_GROWTH_EMBEDDED ?? '10000,100000')
const WARM_UP = 20
const BOOKINGS = 200
const SWEEPS = 20
const SERVICE = new URL('growth-service.ts', import.meta.url).pathname
/** Sweeps in the horizon of two days, which moves on by so much with each. */
const SWEEPS_IN_HORIZON = (48 * 3_600) / 30
/**
 * Growth of a time for ten times the bookings, up to which it counts as flat: a tree index grows by a level, a busy
 * machine adds its own.
 */
const FLAT = 1.5
/** PostgreSQL's processes tell their counts after ten seconds of rest. */
const COUNTS_TOLD_MS = 11_000

/**
 * Ten thousand, a hundred thousand and a million upcoming visits: what a booking, a sweep, the jobs of the horizon and
 * a look at the metrics take with each, and what the service and its database need. Promised: flat, or as a tree index
 * grows.
 */
export async function bench(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  const network = await loopbackGateway()
  await writeFile(join(folder, 'loopback.json'), describedLoopback(network.url))
  const stores = await benchStores(folder)
  const [embedded, ...servers] = stores
  if (EMBEDDED_SIZES.length > 0)
    await grow([{ ...embedded!, config: { ...embedded!.config, dataDir: join(folder, 'data') } }], EMBEDDED_SIZES)
  // Both look at the same database: only the queue differs.
  if (servers.length > 0 && SIZES.length > 0)
    await grow(
      servers.map(({ name, config, close }) => ({ name, close, config: onOneDatabase(config, servers[0]!.config) })),
      SIZES,
    )
  for (const { close } of stores) await close()
  network.stop()
  await rm(folder, { recursive: true, force: true })
}

/** A Redis database of its own: the other benches may use theirs meanwhile. */
function onOneDatabase(config: Config, { databaseUrl }: Config): Config {
  return { ...config, databaseUrl, redisUrl: config.redisUrl?.replace(/\/\d*$/, '/7') }
}

type Figures = Record<string, number>

async function grow(stores: BenchStore[], sizes: number[]): Promise<void> {
  const { config } = stores[0]!
  const patterns = await bookPatterns(config)
  const found = new Map<StoreName, Figures[]>(stores.map(({ name }) => [name, []]))
  let from = 0
  for (const size of sizes) {
    const seconds = await filled(config, patterns, from, size)
    console.log(`growth: ${size} upcoming bookings, ${size - from} of them written in ${seconds.toFixed(0)} s`)
    from = size
    for (const store of stores) found.get(store.name)!.push(await measured(store, size))
  }
  for (const [name, figures] of found) tell(name, sizes, figures)
}

/** The service in its process, as something to be asked. */
type Service = { [What in keyof Asked]: Asked[What] } & { url: string; startMs: number }

async function started(config: Config, role: 'web' | 'all'): Promise<Service> {
  const { databaseUrl, redisUrl, dataDir, gatewaysDir, key } = config
  const settings = {
    NODE_ENV: 'test',
    LOG_LEVEL: 'silent',
    DATABASE_URL: databaseUrl,
    REDIS_URL: redisUrl,
    DATA_DIR: dataDir,
    GATEWAYS_DIR: gatewaysDir,
    DAYSIX_KEY: key,
    PUBLIC_URL: 'http://127.0.0.1:9',
  }
  const child = fork(SERVICE, [role], {
    execArgv: ['--expose-gc', '--import', 'tsx'],
    env: { ...process.env, ...settings } as NodeJS.ProcessEnv,
  })
  const { url, ms } = (await answerOf(child)) as { url: string; ms: number }
  const ask = (what: keyof Asked) => async (text?: string) => {
    child.send({ what, text })
    return (await answerOf(child)) as never
  }
  return {
    url,
    startMs: ms,
    sql: ask('sql'),
    sweep: ask('sweep'),
    ring: ask('ring'),
    reset: ask('reset'),
    replan: ask('replan'),
    metrics: ask('metrics'),
    counts: ask('counts'),
    jobs: ask('jobs'),
    memory: ask('memory'),
    stop: ask('stop'),
  }
}

function answerOf(child: ChildProcess): Promise<unknown> {
  return new Promise((done, fail) => {
    const gone = () => fail(new Error('the service has ended'))
    child.once('exit', gone).once('message', ({ value, error }: { value?: unknown; error?: string }) => {
      child.off('exit', gone)
      if (error) fail(new Error(error))
      else done(value)
    })
  })
}

/** Kinds of cycles as they are booked: most with a date, some without, some without periods, some badly timed. */
const CYCLES = [
  (on: number) => ({ lmp: dayFrom(on - 14), usualCycleDays: 28 }),
  (on: number) => ({ lmp: dayFrom(on - 28), usualCycleDays: 28 }),
  (on: number) => ({ lmp: dayFrom(on - 45), usualCycleDays: 31 }),
  () => ({ lmp: 'unknown' }),
  () => ({ lmp: 'no-periods' }),
]
const dayFrom = (days: number) => new Date(Date.now() + Math.min(-1, days) * 86_400_000).toISOString().slice(0, 10)
const FIRST = ['Marit', 'Tova', 'Isaura', 'Brenna', 'Odile', 'Sunniva', 'Halyna', 'Jasleen', 'Corisande', 'Ingeborg']
const LAST = ['Quillon', 'Brandle', 'Skerrow', 'Tarnley', 'Ashquay', 'Fenwick', 'Oldmarsh', 'Penhale', 'Lindqvane']

let next = 0
/**
 * Books a visit some weeks ahead, of a patient with a number of the patient's own. @returns milliseconds, and its id
 */
async function book(url: string, key: string): Promise<{ ms: number; id: string }> {
  const n = next++
  const ahead = 20 + (n % 200)
  const patient = {
    name: `${FIRST[n % FIRST.length]} ${LAST[n % LAST.length]}`,
    phone: `+1${200 + (n % 700)}55501${String(Math.floor(n / 700) % 100).padStart(2, '0')}`,
    language: 'en',
    channel: 'sms',
    detail: 'full',
  }
  const visit = new Date(Date.now() + ahead * 86_400_000 + n * 600_000).toISOString()
  const request = {
    clinic: `clinic-${n % CLINICS}`,
    clinician: 'desk',
    protocol: 'liquid-based-cytology',
    visit,
    patient,
    cycle: CYCLES[n % CYCLES.length]!(ahead),
    consent: { recordedBy: 'desk' },
    by: 'desk',
  }
  const began = performance.now()
  const { booking } = await sent('POST', `${url}/api/v1/bookings`, request, { 'Idempotency-Key': `${key}-${n}` })
  return { ms: performance.now() - began, id: booking.id }
}

async function sent(
  method: string,
  url: string,
  body: object,
  headers: Record<string, string> = {},
): Promise<{ booking: { id: string } }> {
  const response = await fetch(url, {
    method,
    headers: { 'Content-Type': 'application/json', ...headers },
    body: JSON.stringify(body),
  })
  if (response.status >= 300) throw new Error(`${url}: ${response.status} ${await response.text()}`)
  return (await response.json()) as { booking: { id: string } }
}

/** A few visits that the service itself books, and whose confirmations it sends: what the many are made after. */
async function bookPatterns(config: Config): Promise<string[]> {
  const service = await started(config, 'all')
  // Where it is about one in the afternoon now, so that confirmations may go out.
  const hours = 13 - new Date().getUTCHours()
  const zone = `Etc/GMT${hours > 0 ? '-' : '+'}${Math.abs(hours)}`
  for (let n = 0; n < CLINICS; n++)
    await sent('PUT', `${service.url}/api/v1/clinics/clinic-${n}`, {
      name: 'Harbour Clinic',
      phone: '+16135550100',
      zone,
      country: 'CA',
      settings: { gateway: 'loopback' },
    })
  const ids: string[] = []
  while (ids.length < CYCLES.length * 2) ids.push((await book(service.url, 'pattern')).id)
  while (
    Number(
      (await service.sql(`select count(*) as n from daysix.message where kind = 'confirmation' and state = 'sent'`))[0]!
        .n,
    ) < ids.length
  )
    await pause(100)
  await service.stop()
  return ids
}

async function filled(config: Config, patterns: string[], from: number, to: number): Promise<number> {
  const began = performance.now()
  if (config.databaseUrl) await onServer(config.databaseUrl, (sql) => fill(sql, patterns, from, to))
  else {
    const service = await started(config, 'web')
    await fill(service.sql, patterns, from, to)
    await service.stop()
  }
  return (performance.now() - began) / 1000
}

async function onServer<T>(url: string, work: (sql: Asked['sql']) => Promise<T>): Promise<T> {
  const client = new pg.Client(url)
  await client.connect()
  try {
    return await work(
      async (text) =>
        [(await client.query(text)) as pg.QueryResult | pg.QueryResult[]].flat().at(-1)!.rows as Record<
          string,
          unknown
        >[],
    )
  } finally {
    await client.end()
  }
}

async function measured({ config }: BenchStore, size: number): Promise<Figures> {
  const service = await started(config, 'web')
  await service.sql(`update daysix.message set state = 'planned' where state = 'queued'`)
  await service.sql('vacuum analyze daysix.message')
  const horizon = await service.ring()
  const jobs = await service.jobs()
  const reset = await service.reset()
  const replans = await timesOf(3, service.replan)
  const bookings = await bookingTimes(service, config)
  // As workers would have by now: none run here, so that a booking has the machine to itself.
  const due = ['planned', 'queued'].map(
    (state) => `select id from daysix.message where state = '${state}' and send_at <= now()`,
  )
  await service.sql(
    `update daysix.message set state = 'delivered', sent_at = now(), ended_at = now() where id in (${due.join(' union all ')})`,
  )
  const sweeps = await sweepTimes(service, config, horizon.count)
  const metrics = await timesOf(10, service.metrics)
  const counts = await timesOf(10, service.counts)
  const [{ bytes, planned }] = (await service.sql(`select
    (select sum(pg_total_relation_size(oid)) from pg_class where relnamespace = 'daysix'::regnamespace and relkind = 'r') as bytes,
    (select count(*) from daysix.message where state in ('planned', 'queued')) as planned`)) as [
    Record<string, unknown>,
  ]
  const memory = await service.memory()
  await service.stop()
  return {
    ...bookings,
    ...sweeps,
    'jobs of the horizon, each, ms': horizon.ms / Math.max(1, horizon.count),
    'jobs enqueued again, each, ms': reset / Math.max(1, horizon.count),
    'changed protocols looked for, ms': quantile(replans, 0.5),
    'metrics p50, ms': quantile(metrics, 0.5),
    'counts of the service page p50, ms': quantile(counts, 0.5),
    'start of a web, ms': service.startMs,
    'memory of the service, MB': memory / 2 ** 20,
    'bytes a booking': (config.databaseUrl ? Number(bytes) : await sizeOf(config.dataDir)) / size,
    'jobs in the queue': jobs,
    'of planned messages, in the queue': jobs / Number(planned),
  }
}

async function bookingTimes(service: Service, { databaseUrl }: Config): Promise<Figures> {
  await timesOf(WARM_UP, async () => (await book(service.url, 'warm-up')).ms)
  const { times, pages } = await timesAndPages(
    databaseUrl,
    BOOKINGS,
    async () => (await book(service.url, 'measured')).ms,
  )
  return {
    'booking p50, ms': quantile(times, 0.5),
    'booking p99, ms': quantile(times, 0.99),
    ...(pages && { 'database pages a booking': pages }),
  }
}

/**
 * Times in order, and the pages of a database server that each took: the work it is, whatever else the machine does.
 */
async function timesAndPages(
  url: string | undefined,
  count: number,
  once: () => Promise<number>,
): Promise<{ times: number[]; pages?: number }> {
  const before = url ? await pagesSoFar(url) : 0
  const times = await timesOf(count, once)
  return { times, ...(url && { pages: ((await pagesSoFar(url)) - before) / count }) }
}

/** Looked at or written to, in memory or not. */
async function pagesSoFar(url: string): Promise<number> {
  await pause(COUNTS_TOLD_MS)
  return onServer(url, async (sql) =>
    Number(
      (await sql('select blks_hit + blks_read as pages from pg_stat_database where datname = current_database()'))[0]!
        .pages,
    ),
  )
}

/** Each with as much due as falls within the horizon between two sweeps. */
async function sweepTimes(service: Service, { databaseUrl }: Config, inHorizon: number): Promise<Figures> {
  const normal = Math.max(1, Math.round(inHorizon / SWEEPS_IN_HORIZON))
  await service.sweep()
  const { times, pages } = await timesAndPages(databaseUrl, SWEEPS, async () => {
    await service.sql(
      `update daysix.message set state = 'planned' where id in (select id from daysix.message where state = 'queued' and send_at > now() order by send_at desc limit ${normal})`,
    )
    return service.sweep()
  })
  return { 'sweep p50, ms': quantile(times, 0.5), ...(pages && { 'database pages a sweep': pages }) }
}

async function timesOf(count: number, once: () => Promise<number>): Promise<number[]> {
  const times: number[] = []
  while (times.length < count) times.push(await once())
  return times.sort((a, b) => a - b)
}

const quantile = (sorted: number[], share: number) =>
  sorted[Math.min(sorted.length - 1, Math.ceil(sorted.length * share) - 1)]!

/** Without the write-ahead log, which is as large with few bookings as with many. */
async function sizeOf(folder: string): Promise<number> {
  const names = (await readdir(folder, { recursive: true })).filter((name) => !name.includes('pg_wal'))
  const sizes = await Promise.all(names.map(async (name) => (await stat(join(folder, name))).size))
  return sizes.reduce((sum, size) => sum + size, 0)
}

function tell(name: string, sizes: number[], figures: Figures[]): void {
  for (const what of Object.keys(figures[0]!)) {
    const values = figures.map((each) => each[what]!)
    const shown = values.map(
      (value, at) => `${short(sizes[at]!)} ${digits(value)}${at === 0 ? '' : ` (x${digits(value / values[0]!)})`}`,
    )
    console.log(`growth: ${name.padEnd(20)} ${what.padEnd(34)} ${shown.join('   ')}${verdict(what, sizes, values)}`)
  }
}

/** How much it grows when there are ten times the bookings: 1 not at all, 10 as fast as they. */
function verdict(what: string, sizes: number[], values: number[]): string {
  if (sizes.length < 2 || what === 'jobs in the queue') return ''
  const tenfolds = Math.log10(sizes.at(-1)! / sizes[0]!)
  const each = (values.at(-1)! / values[0]!) ** (1 / tenfolds)
  return `   x${digits(each)} a tenfold: ${each <= FLAT ? 'flat' : 'GROWING'}`
}

const short = (size: number) => (size >= 1e6 ? `${size / 1e6} M` : `${size / 1e3} k`)
const digits = (value: number) => (value >= 100 ? value.toFixed(0) : value.toPrecision(3))
