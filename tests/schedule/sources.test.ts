import { mkdtemp, mkdir, readdir, readFile, rm, writeFile } from 'node:fs/promises'
import { createServer, type ServerOptions } from 'node:https'
import type { IncomingMessage, ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parse } from 'csv-parse/sync'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { readFeedFile } from '../../src/adapters/schedule/feed-file.ts'
import { fetchFile } from '../../src/adapters/schedule/fetch-file.ts'
import { newMemory, pollOnce, startPolling, type Polled } from '../../src/adapters/schedule/poll-address.ts'
import { FilesSeen, startWatching, takeFolder } from '../../src/adapters/schedule/watch-folder.ts'
import { isOwnAddress } from '../../src/adapters/gateways/egress-guard.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { TEST_CERTIFICATE, TEST_KEY } from '../gateways/certificate.ts'
import { TestWorld } from '../harness/world.ts'
import { FEED as EXAMPLE } from './example-feed.ts'

// Real files, and a real https server on the loopback. Conditional requests: RFC 9110 sections 13 and 15.4.
const FEED: Feed = {
  ...{ ...EXAMPLE, usualLanguage: 'en', columns: { name: 'X-NAME', mobile: 'X-MOBILE', type: 'CATEGORIES' } },
}
const FILES: Feed = { ...EXAMPLE, name: 'files' }
let world: TestWorld
beforeAll(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [], { feeds: [FEED, FILES] })
})
afterAll(() => world.close())
const booked = async () => (await world.deps.store.read.bookings.list({ limit: 100, state: 'booked' })).length
const faults = async (feed: string) => (await world.deps.store.read.feeds.faults(feed, 50)).map(({ why }) => why)
const unclear = async () =>
  (await world.deps.store.read.followUps.list({ open: true, limit: 50, reasons: ['schedule-unclear'] })).length

describe('a watched folder', () => {
  let folder: string
  const watched = () => ({ feed: FILES.name, folder })
  const row = (id: string, day = 20, minute = '00') =>
    `${id},2026-03-${day},10:${minute},GYN1,1001,PAP,Ada Fenwick ${id},782 555 01${id},${id},ENG`
  const csv = (...rows: string[]) =>
    ['id,date,time,place,clinician,type,name,mobile,patientId,language', ...rows].join('\r\n')
  const put = (name: string, text: string) => writeFile(join(folder, name), text)
  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-feed-'))
  })
  afterEach(() => rm(folder, { recursive: true }))

  it('has its files taken in the order of their names, once they stand still, and moved with their bad rows', async () => {
    const seen = new FilesSeen()
    await put('b.csv', csv(row('10', 24)))
    await put('a.csv', csv(row('10', 23), row('11', 32)))
    await put('c.csv', 'no table')
    await put('d.csv.part', csv(row('12')))
    await mkdir(join(folder, 'e.csv'))
    const before = await booked()
    await takeFolder(world.deps, watched(), seen)
    expect(await booked()).toBe(before)
    await put('b.csv', csv(row('10', 24), row('13', 24, '40')))
    await takeFolder(world.deps, watched(), seen)
    // The second was still being written: those behind it wait too.
    expect((await readdir(folder)).sort()).toEqual(['b.csv', 'c.csv', 'd.csv.part', 'done', 'e.csv'])
    await takeFolder(world.deps, watched(), seen)
    expect((await readdir(folder)).sort()).toEqual(['d.csv.part', 'done', 'e.csv', 'failed'])
    expect((await readdir(join(folder, 'done'))).sort()).toEqual([
      ...['a.csv', 'a.csv.result.csv', 'b.csv', 'b.csv.result.csv'],
    ])
    expect((await readdir(join(folder, 'failed'))).sort()).toEqual(['c.csv', 'c.csv.result.csv'])
    const list: string[][] = parse(await readFile(join(folder, 'done', 'a.csv.result.csv')))
    expect(list.map(([number, , does]) => [number, does])).toEqual([
      ['row', 'what'],
      ['3', 'refuse'],
    ])
    const visits = await world.deps.store.read.bookings.list({ limit: 100, state: 'booked' })
    const days = visits.map(({ visitAt }) => visitAt.toISOString().slice(0, 10)).sort()
    expect(days.slice(-2)).toEqual(['2026-03-24', '2026-03-24'])
  })

  it('keeps a file while the database is away, and takes it once', async () => {
    const seen = new FilesSeen()
    await put('a.csv', csv(row('20', 26)))
    await takeFolder(world.deps, watched(), seen)
    const away = { ...world.deps, store: { ...world.deps.store, transact: () => Promise.reject(new Error('away')) } }
    await expect(takeFolder(away, watched(), seen)).rejects.toThrow('away')
    expect(await readdir(folder)).toEqual(['a.csv'])
    const before = await booked()
    await takeFolder(world.deps, watched(), seen)
    expect(await booked()).toBe(before + 1)
    expect(await readdir(folder)).toEqual(['done'])
    // As after a crash between taking and moving: the same rows do nothing.
    const anew = new FilesSeen()
    await put('a.csv', csv(row('20', 26)))
    for (let look = 0; look < 2; look++) await takeFolder(world.deps, watched(), anew)
    expect(await booked()).toBe(before + 1)
    expect((await readdir(join(folder, 'done'))).filter((name) => name.endsWith('a.csv'))).toHaveLength(2)
  })

  it('is looked at again and again; that it is not there is told once', async () => {
    const told: Error[] = []
    const stopLost = startWatching(world.deps, { feed: FILES.name, folder: `${folder}-not` }, (e) => told.push(e), 10)
    await put('a.csv', csv(row('21', 27)))
    const before = await booked()
    const stop = startWatching(world.deps, watched(), (error) => told.push(error), 20)
    await expect.poll(booked, { timeout: 10_000 }).toBe(before + 1)
    await stop()
    await stopLost()
    expect(told.map(({ message }) => message.slice(0, 6))).toEqual(['ENOENT'])
  })
})

describe('an address', () => {
  type Answer = (request: IncomingMessage, response: ServerResponse) => void
  let answer: Answer
  let base: string
  const asked: IncomingMessage[] = []
  const options: ServerOptions = { cert: TEST_CERTIFICATE, key: TEST_KEY }
  const server = createServer(options, (request, response) => (asked.push(request), answer(request, response)))
  beforeAll(async () => {
    await new Promise<void>((done) => server.listen(0, '127.0.0.1', done))
    base = `https://127.0.0.1:${(server.address() as AddressInfo).port}`
  })
  afterAll(() => (server.closeAllConnections(), server.close()))
  beforeEach(() => void (asked.length = 0))
  const polled = (more: Partial<Polled['address']> = {}): Polled => ({
    ...{ feed: FEED.name, trust: TEST_CERTIFICATE },
    address: { url: `${base}/secret-7f3a/week.ics`, everyMinutes: 15, ownNetwork: true, ...more },
  })
  const event = (id: number) =>
    [
      ...[
        'BEGIN:VEVENT',
        `UID:${id}`,
        'DTSTAMP:20260301T120000Z',
        `DTSTART:202604${10 + id}T140000Z`,
        'DURATION:PT20M',
      ],
      ...['LOCATION:GYN1', 'CATEGORIES:PAP', `X-NAME:Bea Lowther ${id}`, `X-MOBILE:782 555 01${60 + id}`, 'END:VEVENT'],
    ].join('\r\n')
  const calendar = (...ids: number[]) =>
    ['BEGIN:VCALENDAR', 'VERSION:2.0', 'PRODID:x', ...ids.map(event), 'END:VCALENDAR', ''].join('\r\n')
  const gives =
    (text: string, headers: Record<string, string> = {}): Answer =>
    (_request, response) =>
      void response.writeHead(200, headers).end(text)

  it('is asked for what is new; what vanishes from its calendar is put to a person, half a calendar is a fault', async () => {
    const memory = newMemory()
    const before = await booked()
    const all = [1, 2, 3, 4, 5, 6, 7]
    answer = gives(calendar(...all), { ETag: '"v1"', 'Last-Modified': 'Mon, 09 Mar 2026 12:00:00 GMT' })
    await pollOnce(world.deps, polled(), memory)
    expect(await booked()).toBe(before + 7)
    const heard = async () => (await world.deps.store.read.feeds.figures(FEED.name, '2026-01-01')).heardAt!.getTime()
    const first = await heard()
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
    answer = (_request, response) => void response.writeHead(304).end()
    await pollOnce(world.deps, polled(), memory)
    expect(asked.at(-1)!.headers).toMatchObject({
      ...{ 'if-none-match': '"v1"', 'if-modified-since': 'Mon, 09 Mar 2026 12:00:00 GMT' },
    })
    expect(await heard()).toBe(first + 60_000)
    answer = gives(calendar(...all.slice(1)))
    const calls = await unclear()
    await pollOnce(world.deps, polled(), memory)
    expect(await unclear()).toBe(calls + 1)
    expect(await booked()).toBe(before + 7)
    answer = gives(calendar(6, 7))
    await pollOnce(world.deps, polled(), memory)
    await pollOnce(world.deps, polled(), memory)
    expect((await faults(FEED.name)).filter((why) => why.includes('was not sent whole'))).toHaveLength(1)
    expect(await unclear()).toBe(calls + 1)
    answer = gives(calendar(...all.slice(1)).slice(0, -20))
    await pollOnce(world.deps, polled(), memory)
    expect(await unclear()).toBe(calls + 1)
  })

  it.each<[string, Answer, RegExp]>([
    ['answers 404', (_request, response) => void response.writeHead(404).end(), /it answers 404/],
    [
      'leads away from https',
      (_r, response) => void response.writeHead(302, { Location: 'http://a.example/' }).end(),
      /not https/,
    ],
    ['leads in a circle', (_r, response) => void response.writeHead(302, { Location: '/x' }).end(), /without end/],
    [
      'is endless',
      (_r, response) => void response.writeHead(200).end(Buffer.alloc(11 * 1024 * 1024)),
      /larger than 10 MB/,
    ],
    ['is packed', (_r, response) => void response.writeHead(200, { 'Content-Encoding': 'gzip' }).end('x'), /packed/],
    [
      'breaks off',
      (_r, response) => (
        response.writeHead(200, { 'Content-Length': '9' }),
        response.write('x'),
        void setTimeout(() => response.destroy(), 20)
      ),
      /broke/,
    ],
  ])('that %s is said on the page after the third time, without the address', async (_what, gave, words) => {
    answer = gave
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
    const memory = newMemory()
    const before = (await faults(FEED.name)).length
    for (let time = 0; time < 2; time++) await pollOnce(world.deps, polled(), memory)
    expect(await faults(FEED.name)).toHaveLength(before)
    for (let time = 0; time < 2; time++) await pollOnce(world.deps, polled(), memory)
    const [why, ...more] = await faults(FEED.name)
    expect(more).toHaveLength(before)
    expect(why).toMatch(words)
    expect(why).not.toMatch(/secret|127\.0\.0\.1/)
  })

  it('is led to another that is https, and judged there anew', async () => {
    answer = (request, response) =>
      request.url === '/new' ? gives('x')(request, response) : void response.writeHead(301, { Location: '/new' }).end()
    const settings = { etag: '', modified: '', ownNetwork: true, trust: TEST_CERTIFICATE }
    expect(Buffer.from((await fetchFile(`${base}/old`, settings))!.bytes).toString()).toBe('x')
    answer = (_r, response) => void response.writeHead(301, { Location: 'https://169.254.169.254/' }).end()
    await expect(fetchFile(`${base}/old`, settings)).rejects.toThrow(/address of this machine/)
  })

  it('of this machine or its network is refused unless it is allowed, by name too; so is a certificate of nobody', async () => {
    const settings = { etag: '', modified: '', ownNetwork: false, trust: TEST_CERTIFICATE }
    const before = asked.length
    await expect(fetchFile(`${base}/x`, settings)).rejects.toThrow(/address of this machine/)
    const named = base.replace('127.0.0.1', 'localhost')
    await expect(fetchFile(`${named}/x`, settings)).rejects.toThrow(/address of this machine/)
    await expect(fetchFile(`${base}/x`, { ...settings, ownNetwork: true, trust: undefined })).rejects.toThrow(
      /certificate/,
    )
    expect(asked).toHaveLength(before)
    answer = () => {}
    const slow = { ...settings, ownNetwork: true, timeoutMs: 200 }
    await expect(fetchFile(`${base}/x`, slow)).rejects.toThrow(/longer/)
    // RFC 1918, RFC 4193, RFC 6598, and IPv4 inside IPv6 (RFC 4291 section 2.5.5.2).
    for (const own of [
      '10.1.2.3',
      '172.31.0.1',
      '192.168.1.1',
      '100.64.0.1',
      '127.9.9.9',
      '::1',
      'fd12::1',
      '::ffff:10.0.0.1',
    ])
      expect(isOwnAddress(own), own).toBe(true)
    for (const far of ['192.0.2.7', '172.32.0.1', '2001:db8::1']) expect(isOwnAddress(far), far).toBe(false)
  })

  it('is fetched again where the database was away, and by itself', async () => {
    const memory = newMemory()
    answer = gives(calendar(2, 3, 4, 5, 6, 7, 8), { ETag: '"v9"' })
    const away = { ...world.deps, store: { ...world.deps.store, transact: () => Promise.reject(new Error('away')) } }
    await expect(pollOnce(away, polled(), memory)).rejects.toThrow('away')
    expect(memory.etag).toBe('')
    const before = await booked()
    const stop = startPolling(world.deps, polled(), (error) => expect.fail(error.message))
    await expect.poll(booked, { timeout: 10_000 }).toBe(before + 1)
    await stop()
  })
})

describe('the description of a feed', () => {
  const known = { protocols: new Set(['clinician-hpv']), languages: new Set(['en']) }
  const least = `name: least\nzone: America/Halifax\nclinics: { A: harbour }\ntypes: { PAP: { protocol: clinician-hpv } }\n`

  it('says where it is had from, apart from what it means', () => {
    const { feed, sources } = readFeedFile(
      `${least}folder: /srv/schedule\naddress: https://calendar.example/x.ics\neveryMinutes: 5\n`,
      'x.yaml',
      known,
    )
    expect(sources).toEqual({
      folder: '/srv/schedule',
      address: { url: 'https://calendar.example/x.ics', everyMinutes: 5, ownNetwork: false },
      server: null,
    })
    expect(feed).not.toHaveProperty('address')
    expect(readFeedFile(least, 'x.yaml', known).sources).toEqual({ folder: null, address: null, server: null })
  })

  it.each([
    ['address: http://calendar.example/x.ics', 'address: Give an address that begins with https://.'],
    ['folder: schedule', 'folder: Give the whole path, from the root.'],
    ['everyMinutes: 0', 'everyMinutes: '],
  ])('refuses %s', (line, fault) => {
    expect(() => readFeedFile(`${least}${line}\n`, 'x.yaml', known)).toThrow(fault)
  })
})
