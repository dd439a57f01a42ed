import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import pg from 'pg'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { Desk } from './desk.ts'

const postgres = serverAddress('TEST_DATABASE_URL')
/** A process that is not heard for half a minute is taken for dead: this is longer. */
const SLOW_MS = 40_000

describe.skipIf(!postgres)('a worker that is told to stop while another goes on', () => {
  let database: FreshDatabase
  let client: pg.Client
  let folder: string
  let ledger: Ledger
  let base: string
  let desk: Desk
  let running: ServiceProcess[]

  beforeEach(async () => {
    running = []
    database = await freshDatabase(postgres!)
    client = new pg.Client(database.url)
    await client.connect()
    folder = await mkdtemp(join(tmpdir(), 'daysix-stop-'))
    ledger = new Ledger()
    await ledger.start()
    base = `http://127.0.0.1:${await freePort()}`
    desk = new Desk(base)
  })
  afterEach(async ({ task }) => {
    if (task.result?.state === 'fail') for (const process of running) console.log(process.log.join('\n'))
    await Promise.all(running.map((process) => process.kill()))
    await client.end()
    await database.drop()
    await ledger.stop()
    await rm(folder, { recursive: true, force: true })
  })

  async function describeNetwork(more: object): Promise<void> {
    const described = JSON.parse(ledger.description('ask-desk')) as object
    await writeFile(join(folder, 'network.json'), JSON.stringify({ ...described, ...more }))
  }

  function start(role: 'web' | 'worker', more: Record<string, string> = {}): ServiceProcess {
    const own = { GATEWAYS_DIR: folder, PORT: new URL(base).port, PUBLIC_URL: base, SWEEP_SECONDS: '1' }
    const stores = { DATABASE_URL: database.url, DAYSIX_KEY: Buffer.alloc(32, 9).toString('base64') }
    const process = new ServiceProcess({ role, environment: { ...ledger.environment, ...own, ...stores, ...more } })
    running.push(process)
    process.start()
    return process
  }

  async function startDesk(): Promise<void> {
    start('web')
    await eventually('the desk is ready', () => isReady(base))
    await desk.clinic()
  }

  const workers = async () =>
    (await client.query<{ id: string }>('select id from daysix.worker order by id')).rows.map(({ id }) => id)
  const works = (count: number) => eventually(`${count} work`, async () => (await workers()).length === count)

  /** When a worker last swept. */
  async function sweptAt(healthPort: number): Promise<number> {
    const text = await (await fetch(`http://127.0.0.1:${healthPort}/metrics`)).text()
    return Number(/^daysix_last_sweep_timestamp_seconds ([\d.e+]+)/m.exec(text)?.[1] ?? 0) * 1000
  }

  it('lives until its sends are over, however long they take: nobody takes them over', async () => {
    await describeNetwork({ timeoutMs: 120_000 })
    ledger.fateOf = () => ({ answerAfter: SLOW_MS })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const booking = await desk.book()
    await eventually('it is being handed over', () => ledger.open.size > 0)
    const healthPort = await freePort()
    start('worker', { HEALTH_PORT: String(healthPort) })
    await works(2)
    await eventually('the other sweeps', async () => (await sweptAt(healthPort)) > 0)

    await stopped.stop()
    const over = Date.now()
    expect(ledger.open.size).toBe(0)
    expect(await workers()).toHaveLength(1)
    await eventually('the other has swept since', async () => (await sweptAt(healthPort)) > over + 2_000)
    expect(await desk.confirmation(booking)).toMatchObject({ state: 'sent' })
    expect(ledger.acceptances).toHaveLength(1)
    const { followUps } = (await desk.done('GET', '/follow-ups')) as { followUps: { reason: string }[] }
    expect(followUps.map(({ reason }) => reason)).not.toContain('send-unknown')
  })

  it('finishes its sends all the same when it is told again and again, as a terminal and npm do', async () => {
    await describeNetwork({ timeoutMs: 60_000 })
    ledger.fateOf = () => ({ answerAfter: 6_000 })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const booking = await desk.book()
    await eventually('it is being handed over', () => ledger.open.size > 0)
    const stops = [stopped.stop()]
    await pause(500)
    expect(ledger.open.size).toBe(1)
    stops.push(stopped.stop())
    await Promise.all(stops)
    expect(ledger.open.size).toBe(0)
    expect(await workers()).toEqual([])
    expect(await desk.confirmation(booking)).toMatchObject({ state: 'sent' })
    expect(ledger.acceptances).toHaveLength(1)
  })

  it('stops sending at once, though its daily work goes on', async () => {
    await describeNetwork({})
    await startDesk()
    await client.query('begin')
    await client.query('lock table daysix.retention_run in access exclusive mode')
    const stopped = start('worker')
    await works(1)
    const waits = async () => (await client.query('select from pg_locks where not granted')).rowCount! > 0
    await eventually('its daily work waits', waits)
    const stopping = stopped.stop()
    await eventually('it has taken its leave', async () => (await workers()).length === 0)
    expect(stopped.runs).toBe(true)
    await client.query('rollback')
    await stopping
  })

  it('leaves what waits for its turn to the other at once, and nothing is lost or sent twice', async () => {
    const TEXTS = 20
    await describeNetwork({ ratePerSecond: 1 })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const bookings: string[] = []
    for (let n = 0; n < TEXTS; n++) bookings.push(await desk.book())
    await eventually('it has begun', () => ledger.acceptances.length >= 2)
    await stopped.stop()
    expect(ledger.acceptances.length).toBeLessThan(TEXTS - 5)
    expect(await workers()).toEqual([])
    const states = async () => Promise.all(bookings.map(async (id) => (await desk.confirmation(id)).state))
    expect((await states()).filter((state) => state === 'queued')).toHaveLength(TEXTS - ledger.acceptances.length)

    start('worker')
    const sent = async () => (await states()).every((state) => state === 'sent')
    await eventually('the other has sent the rest', sent, 120)
    expect([...ledger.counts().values()]).toEqual(Array(TEXTS).fill(1))
  })
})
