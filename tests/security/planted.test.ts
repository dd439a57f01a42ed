import { readFileSync, readdirSync, statSync } from 'node:fs'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Writable } from 'node:stream'
import { Redis } from 'ioredis'
import { DateTime } from 'luxon'
import { pino } from 'pino'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { ensureFirstClinic } from '../../src/flows/region/first-clinic.ts'
import { startService, type Running } from '../../src/service.ts'
import { SOON } from '../harness/patience.ts'

const LMP = DateTime.now().minus({ days: 12 }).toISODate()
const STARTED = DateTime.now().minus({ days: 1 }).toISODate()
/** What must be found nowhere, in any spelling: the patient's name, number, dates and words, and a clerk's password. */
const PLANTED = [
  'Zinnia',
  'Quackenbush',
  'zinnia quackenbush',
  '6135550177',
  '555 0177',
  LMP,
  'turquoise marmalade',
  'plum-gallop-stern-clerk',
]

const found = (text: string) => PLANTED.filter((planted) => text.toLowerCase().includes(planted.toLowerCase()))

describe('planted data', () => {
  let folder: string
  let service: Composed
  let running: Running
  let pocket: PocketGateway
  let logged = ''
  const answered: { what: string; text: string }[] = []
  const redisUrl = process.env.TEST_REDIS_URL

  async function ask(what: string, path: string, options: RequestInit = {}): Promise<string> {
    const response = await fetch(running.url + path, options)
    const text = await response.text()
    answered.push({ what: `${what} (${response.status})`, text })
    return text
  }
  const post = (what: string, path: string, body: unknown) =>
    ask(what, path, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json' },
      body: typeof body === 'string' ? body : JSON.stringify(body),
    })

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-planted-'))
    const log = pino(
      { level: 'debug' },
      new Writable({ write: (chunk: Buffer, _encoding, done) => ((logged += chunk.toString()), done()) }),
    )
    const config = {
      ...loadConfig({ DATA_DIR: folder, ...(redisUrl && { REDIS_URL: redisUrl }) }),
      port: 0,
      sweepSeconds: 1,
    }
    const clock = { now: () => new Date() }
    pocket = createPocketGateway({
      clock,
      random: () => 0.5,
      after: (ms, work) => void setTimeout(() => void work(), ms),
    })
    service = await compose(config, { log, gateways: [pocket] })
    await ensureFirstClinic(service.deps)
    running = await startService(config, service, 'all')
    await live()
  })
  afterAll(() => rm(folder, { recursive: true, force: true }))

  /** A patient's weeks in a few seconds, with everything that can go wrong on the way. */
  async function live(): Promise<void> {
    const booking = {
      visit: DateTime.now().plus({ days: 17 }).toFormat("yyyy-MM-dd'T'10:30"),
      patient: { name: 'Zinnia Quackenbush', phone: '613 555 0177' },
      cycle: { lmp: LMP },
      consent: { recordedBy: 'desk' },
    }
    const booked = JSON.parse(await post('booking', '/api/v1/bookings', booking)) as { booking: { id: string } }
    answered.pop() // the answer to the desk itself may name her
    await pocket.reply('+16135550177', 'turquoise marmalade')
    await pocket.reply('+16135550177', `my period started on ${STARTED}`)
    // Answers go out at any hour, so at least one has come back whatever time this test is run.
    await vi.waitUntil(
      () => pocket.phone('+16135550177').texts.some(({ direction }) => direction === 'to-patient'),
      SOON,
    )
    await service.database.records.query('alter table daysix.slot rename to slot_gone')
    await post('a database error', '/api/v1/bookings', {
      ...booking,
      visit: DateTime.now().plus({ days: 18 }).toFormat("yyyy-MM-dd'T'10:30"),
    })
    await ask('a page of an error', `/desk/main/visits/${booked.booking.id}`)
    await service.database.records.query('alter table daysix.slot_gone rename to slot')
    await post('broken JSON', '/api/v1/bookings', '{"patient":{"name":"Zinnia Quackenbush","phone":"613 555 0177"')
    await post('a wrong visit', '/api/v1/bookings', { ...booking, visit: 'next Tuesday' })
    await post('an unknown field', '/api/v1/bookings', {
      ...booking,
      patient: { ...booking.patient, nickname: 'Zinnia' },
    })
    await post('her second visit', '/api/v1/bookings', booking)
    await ask('an unknown address', '/api/v1/patients/Zinnia/Quackenbush?q=613+555+0177')
    await ask('an unknown page', '/v/zinnia.quackenbush')
    await ask('metrics', '/metrics')
    await ask('health', '/health/ready')
    await ask('sign-in', '/sign-in', {
      method: 'POST',
      headers: { 'Content-Type': 'application/x-www-form-urlencoded', 'Sec-Fetch-Site': 'same-origin' },
      body: 'login=zinnia&password=plum-gallop-stern-clerk',
    })
    await post('a webhook', '/gateways/none/reply', { from: '+16135550177', text: 'turquoise marmalade' })
    await vi.waitUntil(nothingUnderWay, SOON)
  }

  async function nothingUnderWay(): Promise<boolean> {
    const { rows } = await service.database.records.query(
      "select from daysix.message where state = 'sending' or (state = 'queued' and send_at <= now())",
    )
    return rows.length === 0
  }

  it("were really there: the patient was written to, and the patient's words were heard", async () => {
    expect(pocket.phone('+16135550177').texts.length).toBeGreaterThan(2)
    const [patient] = await service.deps.store.read.patients.byPhone('+16135550177')
    expect(patient!.name).toBe('Zinnia Quackenbush')
    expect(
      (await service.deps.store.read.replies.fromPhone('+16135550177', new Date(0))).map(({ text }) => text),
    ).toContain('turquoise marmalade')
    expect(answered.some(({ what }) => what === 'a database error (500)')).toBe(true)
  })

  it('are in no log, not even of errors and at its most talkative', () => {
    expect(logged).toContain('request failed')
    expect(found(logged)).toEqual([])
  })

  it('are in no error, metric or health answer', () => {
    expect(answered.length).toBeGreaterThan(10)
    // The sign-in page may not even say again who tried.
    expect(
      answered.map(({ what, text }) => ({ what, found: found(text) })).filter((each) => each.found.length > 0),
    ).toEqual([])
    expect(answered.filter(({ text }) => /\bat .+\.ts:\d+|node_modules/.test(text))).toEqual([]) // no stack traces
  })

  it('are in no table, nor in any job of the queue', async () => {
    const { rows } = await service.database.records.query(
      "select table_schema as s, table_name as t from information_schema.tables where table_schema in ('daysix', 'bullmq')",
    )
    expect(rows.length).toBeGreaterThan(20)
    for (const { s, t } of rows) {
      const dump = JSON.stringify(
        (await service.database.records.query(`select * from "${String(s)}"."${String(t)}"`)).rows,
      )
      expect({ table: t, found: found(dump) }).toEqual({ table: t, found: [] })
    }
  })

  it.skipIf(!redisUrl)('are in nothing that Redis keeps', async () => {
    const redis = new Redis(redisUrl!)
    const keys = await redis.keys('*')
    const dumps = await Promise.all(
      keys.map(async (key) => `${key} ${(await redis.dumpBuffer(key))?.toString('latin1')}`),
    )
    await redis.quit()
    expect(found(dumps.join('\n'))).toEqual([])
  })

  it('are in no file of the data folder, the write-ahead log included', async () => {
    await running.stop()
    await service.close()
    const files = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .map((name) => join(folder, name))
      .filter((path) => statSync(path).isFile())
    expect(files.length).toBeGreaterThan(100)
    const dirty = files
      .map((path) => ({ path, found: found(readFileSync(path, 'latin1')) }))
      .filter((each) => each.found.length > 0)
    expect(dirty).toEqual([])
  })
})
