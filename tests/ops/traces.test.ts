import { execFile } from 'node:child_process'
import { mkdtemp, readFile, readdir, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { promisify } from 'node:util'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { stepOfOthers } from '../../src/adapters/traces/trace-parent.ts'
import { loadConfig } from '../../src/config.ts'
import { pageMaker } from '../../src/adapters/http/private-page/page-address.ts'
import { readKeyRing } from '../../src/adapters/vault/key-ring.ts'
import { createVault } from '../../src/adapters/vault/vault.ts'
import { serverAddress } from '../harness/servers.ts'
import { OWN_KEY, ownProcesses } from '../service/own-processes.ts'
import { TracePeer, type Heard } from './trace-peer.ts'

const run = promisify(execFile)
const postgres = serverAddress('TEST_DATABASE_URL')
const NAME = 'Zinnia Quackenbush'
const PHONE = '+16135550117'
const EMAIL = 'zinnia@harbour.example'
const WORDS = 'turquoise marmalade, my period started today'
/** The example of W3C Trace Context, section "traceparent header". */
const THEIRS = '00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-00'

describe.skipIf(!postgres)('a booking, a text and a reply', () => {
  const { here, describeNetwork, start, works } = ownProcesses(postgres!)
  let peer: TracePeer
  beforeEach(async () => {
    peer = new TracePeer()
    await peer.start()
  })
  afterEach(() => peer.stop())

  /** Web and worker apart. */
  async function started(settings: Record<string, string>, ofWorker = settings) {
    await describeNetwork()
    const web = start('web', settings)
    await eventually('the desk is ready', () => isReady(here().base))
    await here().desk.clinic()
    const worker = start('worker', ofWorker)
    await works(1)
    return { web, worker }
  }

  async function booked(): Promise<string> {
    const visit = new Date(Date.now() + 21 * 24 * 3_600_000).toISOString()
    const patient = { name: NAME, phone: PHONE, email: EMAIL, language: 'en', channel: 'sms', detail: 'full' }
    const response = await fetch(`${here().base}/api/v1/bookings?from=${encodeURIComponent(NAME)}`, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json', 'Idempotency-Key': 'quackenbush-key', traceparent: THEIRS },
      body: JSON.stringify({
        protocol: 'liquid-based-cytology',
        visit,
        patient: { ...patient, birthDate: '1987-06-05' },
        cycle: { lmp: new Date(Date.now() - 20 * 24 * 3_600_000).toISOString().slice(0, 10) },
        consent: { recordedBy: 'desk' },
        by: 'desk',
      }),
    })
    const answer = (await response.json()) as { booking: { id: string } }
    expect(response.status, JSON.stringify(answer)).toBe(201)
    return answer.booking.id
  }

  /** Booked, told, arrived, looked at, answered. @returns what the patient was sent, and the address of the page */
  async function lived() {
    const { ledger, base, desk } = here()
    const booking = await booked()
    await eventually('the confirmation is out', () => ledger.acceptances.length > 0)
    const state = async () => (await desk.confirmation(booking)).state
    await eventually('it is written down', async () => (await state()) === 'sent')
    const [first] = ledger.acceptances
    expect(await ledger.tellReceipt(first!, 'delivered')).toBe(true)
    await eventually('the receipt is written down', async () => (await state()) === 'delivered')
    const vault = createVault(readKeyRing(OWN_KEY))
    const page = new URL(pageMaker(base, vault)(booking, PHONE)).pathname
    expect((await fetch(base + page)).status).toBe(200)
    expect((await fetch(`${base}/v/nobody-${PHONE.slice(1)}`)).status).toBe(404)
    const said = ledger.acceptances.length
    expect(await ledger.tellReply(base, { from: PHONE, text: WORDS, key: 'k1' })).toBe(true)
    await eventually('it is answered', () => ledger.acceptances.length > said)
    return { booking, page, texts: ledger.acceptances.map(({ text }) => text), receiptUrl: first!.receiptUrl }
  }

  const named = (spans: Heard[], name: string) => spans.filter((span) => span.name === name)

  it('are one trace through web and worker, with nothing of the patient in it', async () => {
    const { web, worker } = await started({ TRACES_URL: peer.url })
    const { booking, page, texts, receiptUrl } = await lived()
    await Promise.all([web.stop(), worker.stop()])
    const all = peer.spans()
    const [root] = named(all, 'book visit')
    const trace = all.filter(({ traceId }) => traceId === root!.traceId)
    const steps = ['keep plan', 'enqueue', 'send', 'claim', 'hand over', 'record', 'take receipt', 'take reply']
    expect(trace.map(({ name }) => name)).toEqual(expect.arrayContaining(steps))
    expect(new Set(all.filter(({ attributes }) => attributes['daysix.booking'] === booking))).toEqual(new Set(trace))

    // Every parent was told, and began before its children, though another process told it.
    const known = new Map(all.map((span) => [span.spanId, span]))
    expect(known.size).toBe(all.length)
    expect(root!.parentSpanId).toBe('')
    for (const span of trace.filter((each) => each !== root))
      expect(known.get(span.parentSpanId)?.traceId, span.name).toBe(root!.traceId)
    const [send] = named(trace, 'send')
    for (const name of ['claim', 'hand over', 'record', 'take receipt'])
      expect(named(trace, name).map(({ parentSpanId }) => parentSpanId)).toContain(send!.spanId)
    expect(send!.process).not.toBe(root!.process)
    expect(named(trace, 'take reply')[0]!.process).toBe(root!.process)
    for (const { from, to } of all) expect(to).toBeGreaterThanOrEqual(from)
    expect(send!.from).toBeGreaterThanOrEqual(root!.from - 1_000)

    // By OpenTelemetry's semantic conventions for HTTP and messaging.
    const asked = named(all, 'POST /api/v1/bookings')
    expect(asked.map(({ kind, attributes }) => [kind, attributes['http.response.status_code']])).toEqual([
      ['SPAN_KIND_SERVER', 201],
    ])
    expect(asked[0]!.links).toEqual([{ traceId: THEIRS.slice(3, 35), spanId: THEIRS.slice(36, 52) }])
    expect(asked[0]!.traceId).not.toBe(THEIRS.slice(3, 35))
    expect(root!.links).toEqual([{ traceId: asked[0]!.traceId, spanId: asked[0]!.spanId }])
    expect(named(trace, 'hand over')[0]!).toMatchObject({
      kind: 'SPAN_KIND_CLIENT',
      failed: false,
      attributes: {
        'messaging.operation.type': 'send',
        'messaging.message.id': expect.stringMatching(/^m_/),
        'daysix.kind': 'confirmation',
        'daysix.channel': 'sms',
        'daysix.language': 'en',
        'daysix.gateway': 'ledger',
        'daysix.outcome': 'accepted',
        'daysix.attempt': 1,
      },
    })
    expect(named(trace, 'take receipt')[0]!.attributes).toMatchObject({ 'daysix.outcome': 'delivered' })
    expect(named(trace, 'take reply')[0]!.attributes).toMatchObject({
      'daysix.sureness': expect.stringMatching(/^(high|middle|low)$/),
    })
    expect(named(all, 'GET /v/:token').map(({ attributes }) => attributes['http.response.status_code'])).toEqual([
      200, 404,
    ])
    expect(named(all, 'sweep').length).toBeGreaterThan(0)

    const told = Buffer.concat(peer.bytes).toString('utf8').toLowerCase()
    const key = new URL(receiptUrl).searchParams.get('key')!
    const own = [
      'quackenbush',
      'zinnia',
      '5550117',
      '555 0117',
      'marmalade',
      'turquoise',
      'started today',
      'period-started',
      '1987',
    ]
    const secret = [page, page.slice(3), page.slice(-12), key, here().ledger.environment.LEDGER_KEY, THEIRS]
    for (const each of [...own, ...secret, ...texts, EMAIL, 'harbour', receiptUrl])
      expect(told).not.toContain(JSON.stringify(each.toLowerCase()).slice(1, -1))
    expect(told).toContain(booking)
  })

  it('go on when nobody takes the traces, or never answers, which is told once, and a stop waits for neither', async () => {
    peer.status = 'silent'
    const { web, worker } = await started(
      { TRACES_URL: `http://127.0.0.1:${await freePort()}/v1/traces` },
      { TRACES_URL: peer.url },
    )
    await lived()
    const warned = () => [web, worker].map(({ log }) => log.filter((line) => line.includes('TRACES_URL')).length)
    await eventually('both have told it', () => warned().every((count) => count > 0))
    await here().desk.book()
    await new Promise((done) => setTimeout(done, 12_000))
    expect(warned()).toEqual([1, 1])
    expect(peer.bytes.length).toBeGreaterThan(1)
    const began = Date.now()
    await Promise.all([web.stop(), worker.stop()])
    expect(Date.now() - began).toBeLessThan(30_000)
    expect(web.log.concat(worker.log).filter((line) => line.includes('not stopped'))).toEqual([])
  })

  it('are told wholly or not at all where only a share is', async () => {
    const { web, worker } = await started({ TRACES_URL: peer.url, TRACES_RATIO: '0.5' })
    const bookings: string[] = []
    for (let n = 0; n < 12; n++) bookings.push(await here().desk.book())
    await eventually('all are told', () => here().ledger.acceptances.length >= bookings.length)
    await Promise.all([web.stop(), worker.stop()])
    const of = (name: string) =>
      named(peer.spans(), name)
        .flatMap(({ attributes }) => attributes['daysix.booking'] ?? [])
        .sort()
    const whole = of('book visit')
    expect(whole.length).toBeGreaterThan(0)
    expect(whole.length).toBeLessThan(bookings.length)
    for (const name of ['keep plan', 'send', 'hand over', 'record']) expect(of(name)).toEqual(whole)
  })

  it('load nothing of OpenTelemetry where nobody listens', async () => {
    const SDK = /BatchSpanProcessor/
    const loaded = async (TRACES_URL: string) => {
      const folder = await mkdtemp(join(tmpdir(), 'daysix-loaded-'))
      const { PATH, HOME } = process.env
      const own = { DATABASE_URL: here().database.url, DAYSIX_KEY: OWN_KEY, TRACES_URL, NODE_V8_COVERAGE: folder }
      // It puts the whole service together; what was loaded is written down by Node itself.
      await run(process.execPath, ['src/cli/daysix.mjs', 'api-key', 'list'], {
        env: { PATH, HOME, NODE_ENV: 'test', ...own } as unknown as NodeJS.ProcessEnv,
      })
      const [report] = await readdir(folder)
      const { result } = JSON.parse(await readFile(join(folder, report!), 'utf8')) as { result: { url: string }[] }
      await rm(folder, { recursive: true })
      const files = result.flatMap(({ url }) => (url.startsWith('file:') ? [fileURLToPath(url)] : []))
      const texts = await Promise.all(files.map((file) => readFile(file, 'utf8')))
      return texts.some((text) => SDK.test(text))
    }
    expect(await loaded(peer.url)).toBe(true)
    expect(await loaded('')).toBe(false)
  })
})

describe('the settings of traces', () => {
  it('are an address and a share; without an address there are none', () => {
    const url = 'http://collector:4318/v1/traces'
    expect(loadConfig({ TRACES_URL: url }).traces).toEqual({ url, ratio: 1 })
    expect(loadConfig({ TRACES_URL: url, TRACES_RATIO: '0.1' }).traces).toEqual({ url, ratio: 0.1 })
    expect(loadConfig({ TRACES_URL: '', TRACES_RATIO: '0.1' }).traces).toBeUndefined()
    expect(() => loadConfig({ TRACES_URL: 'collector:4318' })).toThrow(/TRACES_URL: Give the address/)
    for (const wrong of ['1.1', '-1', 'all'])
      expect(() => loadConfig({ TRACES_URL: url, TRACES_RATIO: wrong })).toThrow(/TRACES_RATIO: Give a share/)
  })
})

// Cases after W3C Trace Context, https://www.w3.org/TR/trace-context/#traceparent-header
describe('a traceparent', () => {
  const [traceId, spanId] = [THEIRS.slice(3, 35), THEIRS.slice(36, 52)]
  it.each([
    ['the example of the standard', THEIRS, { traceId, spanId, traceFlags: 0 }],
    ['sampled', THEIRS.replace(/00$/, '01'), { traceId, spanId, traceFlags: 1 }],
    ['a later version with more in it', `${THEIRS.replace(/^00/, '01')}-more`, { traceId, spanId }],
    ['version ff', THEIRS.replace(/^00/, 'ff'), undefined],
    ['version 00 with more in it', `${THEIRS}-more`, undefined],
    ['no trace', `00-${'0'.repeat(32)}-${spanId}-01`, undefined],
    ['no parent', `00-${traceId}-${'0'.repeat(16)}-01`, undefined],
    ['capitals', THEIRS.toUpperCase(), undefined],
    ['something else', 'Zinnia', undefined],
    ['nothing', undefined, undefined],
  ])('%s', (_what, header, expected) => {
    const read = stepOfOthers(header)
    if (expected) expect(read).toMatchObject(expected)
    else expect(read).toBeUndefined()
  })
})
