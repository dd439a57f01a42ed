import { spawn, type ChildProcess } from 'node:child_process'
import { mkdtemp, open, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Writable } from 'node:stream'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { Ledger, type Acceptance } from '../../infra/chaos/ledger.ts'
import { eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { createLog } from '../../src/adapters/log/log.ts'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { ensureFirstClinic } from '../../src/flows/region/first-clinic.ts'
import { startService } from '../../src/service.ts'

/** One line of the log. */
type Line = Record<string, unknown> & { msg: string; level: number }

const NAME = 'Zinnia Quackenbush'
const WORDS = 'turquoise marmalade on the stairs'
const phoneOf = (n: number) => `+1613555${String(110 + n).padStart(4, '0')}`

function visit(n: number) {
  const at = new Date(Date.now() + (21 * 24 + n) * 3_600_000).toISOString()
  const patient = { name: `${NAME} ${n}`, phone: phoneOf(n), language: 'en', channel: 'sms', detail: 'full' }
  return {
    protocol: 'liquid-based-cytology',
    visit: at,
    patient,
    cycle: { lmp: 'no-periods' },
    consent: { recordedBy: 'desk' },
    by: 'desk',
  }
}

async function send(url: string, body: unknown, method = 'POST', headers: Record<string, string> = {}) {
  const response = await fetch(url, {
    method,
    headers: { 'Content-Type': 'application/json', ...headers },
    body: JSON.stringify(body),
  })
  const text = await response.text()

  return {
    status: response.status,
    request: response.headers.get('X-Request-Id')!,
    // eslint-disable-next-line @typescript-eslint/no-explicit-any -- answers of the API as they are
    body: (text === '' ? null : JSON.parse(text)) as any,
  }
}

/** In a zone where it is about one in the afternoon now, so that sending is allowed whenever a test runs. */
function clinic(gateway: string) {
  const hours = 13 - new Date().getUTCHours()
  return {
    name: 'Harbour Clinic',
    phone: '+16135550100',
    zone: `Etc/GMT${hours > 0 ? '-' : '+'}${Math.abs(hours)}`,
    country: 'CA',
    settings: { gateway },
  }
}

describe('what the service writes on its standard output while it books, sends and hears', () => {
  let folder: string
  let base: string
  let child: ChildProcess
  const ledger = new Ledger()
  /** Request ids that we were told in answers. */
  const told: string[] = []
  let booked: Awaited<ReturnType<typeof send>>[]
  let receipt: Awaited<ReturnType<typeof send>>
  let reply: Awaited<ReturnType<typeof send>>
  let wrong: Awaited<ReturnType<typeof send>>
  let lines: Line[]

  const ask = async (...asked: Parameters<typeof send>) => {
    const answer = await send(...asked)
    told.push(answer.request)
    return answer
  }
  const output = () => readFile(join(folder, 'output'), 'utf8')
  const about = (msg: string) => lines.filter((line) => line.msg === msg)

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-logs-'))
    await ledger.start()
    await writeFile(join(folder, 'ledger.json'), ledger.description('ask-desk'))
    base = `http://127.0.0.1:${await freePort()}`
    child = await started()
    await eventually('it is ready', () => isReady(base))
    await live()
    const ended = new Promise((done) => child.once('exit', done))
    child.kill('SIGTERM')
    await ended
    lines = (await output())
      .split('\n')
      .filter((line) => line.startsWith('{'))
      .map((line) => JSON.parse(line) as Line)
  })
  afterAll(async () => {
    child.kill('SIGKILL')
    await ledger.stop()
    await rm(folder, { recursive: true, force: true })
  })

  async function started(): Promise<ChildProcess> {
    const { PATH, HOME } = process.env
    const own = {
      DATA_DIR: join(folder, 'data'),
      GATEWAYS_DIR: folder,
      PORT: new URL(base).port,
      PUBLIC_URL: base,
      SWEEP_SECONDS: '1',
      LOG_LEVEL: 'debug',
    }
    const file = await open(join(folder, 'output'), 'a')
    const env = { PATH, HOME, NODE_ENV: 'test', ...ledger.environment, ...own } as unknown as NodeJS.ProcessEnv
    const service = spawn(process.execPath, ['src/cli/daysix.mjs', 'serve'], {
      env,
      stdio: ['ignore', file.fd, file.fd],
    })
    await file.close()
    return service
  }

  /**
   * Bookings at the same time, their confirmations, a receipt, a reply with its answer, and a request that is wrong.
   */
  async function live(): Promise<void> {
    await ask(`${base}/api/v1/clinics/main`, clinic('ledger'), 'PUT')
    booked = await Promise.all(Array.from({ length: 12 }, (_, n) => ask(`${base}/api/v1/bookings`, visit(n))))
    await eventually('all confirmations have gone out', () => ledger.acceptances.length >= booked.length)
    const [first] = ledger.acceptances as [Acceptance]
    await eventually('the first is written down', async () => (await output()).includes('message-sent'))
    receipt = await ask(first.receiptUrl, { ref: first.ref, state: 'delivered' })
    reply = await ask(`${base}/gateways/ledger/reply`, { from: phoneOf(3), text: WORDS, key: 'k1' }, 'POST', {
      Authorization: `Bearer ${ledger.environment.LEDGER_KEY}`,
    })
    await eventually('the answer has gone out', () => ledger.acceptances.length > booked.length)
    wrong = await ask(`${base}/api/v1/bookings`, { ...visit(0), visit: 'next Tuesday' })
    await eventually(
      'everything is written down',
      async () => (await output()).split('message-sent').length > booked.length + 1,
    )
  }

  it('has a line for each request, with the id that the answer told, how it went and how long it took', () => {
    const answers = [...booked, receipt, reply, wrong]
    for (const { request, status } of answers) {
      expect(request).toMatch(/^q_/)
      expect(lines.filter((line) => line.msg === 'answered' && line.request === request)).toEqual([
        expect.objectContaining({
          method: 'POST',
          status,
          ms: expect.any(Number),
          route: expect.stringMatching(/^\//),
        }),
      ])
    }
    expect(lines.find((line) => line.msg === 'answered' && line.request === wrong.request)).toMatchObject({
      status: 422,
      code: 'bad-input',
    })
    expect(lines.find((line) => line.msg === 'answered' && line.request === reply.request)).toMatchObject({
      route: '/gateways/:name/:path',
      status: 200,
    })
  })

  it('ties what was done to the request it was done for, however many ran at once', () => {
    const expected = booked.map(({ request, body }) => [body.booking.id as string, request])
    expect(new Map(about('booked').map(({ booking, request }) => [booking, request]))).toEqual(
      new Map(expected as [string, string][]),
    )
    expect(about('message-delivered')).toEqual([expect.objectContaining({ request: receipt.request })])
    expect(about('reply-heard')).toEqual([
      expect.objectContaining({
        request: reply.request,
        reply: expect.stringMatching(/^t_/),
        booking: booked[3]!.body.booking.id,
      }),
    ])
  })

  it('names no request that nobody made, and none where a worker acts by itself', () => {
    const polled = lines
      .filter((line) => line.msg === 'answered' && line.route === '/health/ready')
      .map(({ request }) => request)
    const named = new Set(lines.flatMap(({ request }) => (request === undefined ? [] : [request])))
    expect([...named].filter((id) => !told.includes(id as string) && !polled.includes(id))).toEqual([])
    expect(about('message-sent').filter(({ request }) => request !== undefined)).toEqual([])
  })

  it('says which message each line about one is about', () => {
    const sent = about('message-sent').map(({ message }) => message)
    expect(sent.sort()).toEqual(ledger.acceptances.map(({ id }) => id).sort())
    const [first] = ledger.acceptances as [Acceptance]
    expect(about('message-delivered')).toEqual([expect.objectContaining({ message: first.id })])
    for (const line of lines.filter(({ msg }) => msg.startsWith('message-')))
      expect(line).toMatchObject({ message: expect.stringMatching(/^m_/), booking: expect.stringMatching(/^b_/) })
    const visits = new Map(
      lines.filter(({ msg }) => msg === 'message-sent').map(({ message, booking }) => [message, booking]),
    )
    expect(about('message-delivered')[0]!.booking).toBe(visits.get(first.id))
  })

  it('notes where the audit record stands, as it starts and as it stops, in the log and in a file beside the data', async () => {
    const file = join(folder, 'data', 'audit-heads.log')
    const heads = (await readFile(file, 'utf8')).trimEnd().split('\n')
    expect(heads).toEqual(
      about('head of the audit record').map(({ at, head, signature }) => [at, head, signature].join(' ')),
    )
    expect(heads.length).toBeGreaterThanOrEqual(2)
    const config = loadConfig({ NODE_ENV: 'test', LOG_LEVEL: 'silent', DATA_DIR: join(folder, 'data') })
    const { deps, close } = await compose(config)
    const { seq, hash } = await deps.access.read.audit.head()
    const notes = await deps.headNotes.read()
    expect(notes.every(({ isOurs }) => isOurs)).toBe(true)
    expect(notes.at(-1)).toEqual({ seq, hash, isOurs: true })
    await close()
  })

  it('is lines of JSON with a time, and holds neither name, number nor words', async () => {
    const text = await output()
    const others = text.split('\n').filter((line) => line !== '' && !line.startsWith('{'))
    expect(others.filter((line) => !/^(Daysix is ready at|Become the administrator)/.test(line))).toEqual([])
    for (const line of lines) expect(line).toMatchObject({ level: expect.any(Number), time: expect.any(Number) })
    const written = text.toLowerCase()
    for (const secret of [
      'quackenbush',
      '5550113',
      '555 0113',
      'marmalade',
      new URL(ledger.acceptances[0]!.receiptUrl).searchParams.get('key')!,
    ])
      expect(written).not.toContain(secret)
  })
})

describe('what nobody foresaw', () => {
  /** The service with a table taken from it. @returns what it answered and logged */
  async function without(
    table: string,
    settings: Record<string, string>,
    ask: (url: string) => ReturnType<typeof send>,
  ) {
    let text = ''
    const log = createLog(
      'info',
      new Writable({ write: (chunk: Buffer, _encoding, done) => ((text += chunk.toString()), done()) }),
    )
    const config = { ...loadConfig({ NODE_ENV: 'test', ...settings }), port: 0, sweepSeconds: 0 }
    const composed = await compose(config, { inMemory: true, log })
    const running = await startService(config, composed, 'web')
    try {
      await ensureFirstClinic(composed.deps)
      await composed.database.records.query(`alter table daysix.${table} rename to ${table}_gone`)
      const answer = await ask(running.url)
      await eventually('the request is written down', () => text.includes('"answered"'))
      const lines = text
        .trim()
        .split('\n')
        .map((line) => JSON.parse(line) as Line)
      return { answer, text, line: (msg: string) => lines.find((line) => line.msg === msg) }
    } finally {
      await running.stop()
      await composed.close()
    }
  }

  it('is logged with its stack and the id of the request, which the answer tells too', async () => {
    const { answer, text, line } = await without('slot', {}, (url) => send(`${url}/api/v1/bookings`, visit(1)))
    expect(answer.status).toBe(500)
    expect(line('request failed')).toMatchObject({
      level: 50,
      request: answer.request,
      error: { code: '42P01', stack: expect.stringContaining('at ') },
    })
    expect(line('answered')).toMatchObject({ level: 40, request: answer.request, status: 500, code: 'internal' })
    expect(text).not.toMatch(/Quackenbush|5550111/)
  })

  it('about a reply, which the network is only asked to tell again, is logged too', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-logs-'))
    const ledger = new Ledger()
    await ledger.start()
    await writeFile(join(folder, 'ledger.json'), ledger.description('ask-desk'))
    const settings = { ...ledger.environment, GATEWAYS_DIR: folder, PUBLIC_URL: 'http://127.0.0.1:9' }
    const heard = { from: phoneOf(1), text: WORDS, key: 'k1' }
    const { answer, text, line } = await without('reply', settings, (url) =>
      send(`${url}/gateways/ledger/reply`, heard, 'POST', { Authorization: `Bearer ${ledger.environment.LEDGER_KEY}` }),
    )
    await ledger.stop()
    await rm(folder, { recursive: true, force: true })
    expect(answer.status).toBe(503)
    expect(line('reply not kept')).toMatchObject({ level: 50, request: answer.request, code: '42P01' })
    expect(text).not.toMatch(/marmalade|5550111/)
  })
})
