import { spawn, type ChildProcess } from 'node:child_process'
import { createInterface } from 'node:readline'
import { createServer, type IncomingHttpHeaders } from 'node:http'
import type { AddressInfo } from 'node:net'
import { once } from 'node:events'
import { fileURLToPath } from 'node:url'
import { createHash, createHmac } from 'node:crypto'
import { afterEach, describe, expect, it } from 'vitest'
import { freePort } from '../../infra/chaos/service-process.ts'
import { courier } from '../../src/adapters/schedule/tell/courier.ts'
import { signed } from '../../src/adapters/schedule/tell/http-signature.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import type { ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import type { TellBy } from '../../src/domain/schedule/telling.ts'
import { takeNews } from '../../src/flows/schedule/take-news.ts'
import { tellSchedules } from '../../src/flows/schedule/tell-schedules.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { present } from '../gateways/peers/programs.ts'
import { TestWorld } from '../harness/world.ts'
import { FEED as EXAMPLE, newsAt } from './example-feed.ts'

// Where the clinic's own schedule decides, a patient's choice is a wish until that schedule says so. Peers: python-hl7 as
// the filler's system; a web server that checks signatures by RFC 9421 and digests by RFC 9530 by itself.
const ADA = '+17825550101'
const ASKED = '2026-03-24T13:00:00.000Z'
const PYTHON = '/usr/bin/python3'
const ends: (() => Promise<unknown> | void)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})

/** A visit of the schedule, with openings, whose patient has chosen the first of them. */
async function chosen(tell: TellBy | null) {
  const feed: Feed = { ...EXAMPLE, consent: { field: 'consent', yes: ['Y'] }, tell }
  const world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [], { feeds: [feed] })
  ends.push(() => world.close())
  await world.putClinic({ movePolicy: 'schedule-decides' })
  const take = (...news: ScheduleNews[]) =>
    takeNews(
      world.deps,
      feed.name,
      news.map((one) => ({ news: [one] })),
    )
  await take(newsAt(0, 'booked', { visit: { consent: true } }))
  await world.openings('2026-03-24T10:00', '2026-03-25T10:00')
  await world.passUntil('2026-03-10T14:00:00Z')
  await world.reply(ADA, "I can't come that day")
  await world.reply(ADA, '1')
  const [booking] = await world.deps.store.read.bookings.list({ limit: 9 })
  const visitAt = async () => (await world.deps.store.read.bookings.get(booking!.id))!.visitAt.toISOString()
  return { world, take, visitAt, booking: booking! }
}
const movedTo = (at: string) =>
  newsAt(3000, 'moved', { visit: { startsAt: new Date(at), clinicians: [''], consent: true } })

async function filler(...codes: string[]): Promise<{ port: number; heard: { code: string; segments: string[][] }[] }> {
  const port = await freePort()
  const script = fileURLToPath(new URL('hl7/mllp_peer.py', import.meta.url))
  const peer: ChildProcess = spawn(PYTHON, [script, String(port), ...codes], { stdio: ['ignore', 'pipe', 'inherit'] })
  ends.push(async () => {
    peer.kill()
    await once(peer, 'exit')
  })
  const heard: { code: string; segments: string[][] }[] = []
  const lines = createInterface(peer.stdout!)
  await once(lines, 'line')
  lines.on('line', (line) => heard.push(JSON.parse(line) as (typeof heard)[number]))
  return { port, heard }
}
const byMllp = (port: number): TellBy => ({
  ...{ by: 'mllp', host: '127.0.0.1', port, tls: false, ca: null, cert: null, key: null },
  ...{ application: 'SKERRYPAS', facility: 'SKERRY' },
})

describe('a clinic whose own schedule decides', () => {
  it('holds the time, says so honestly, and keeps the old one until the schedule has moved it', async () => {
    const { world, take, visitAt, booking } = await chosen(null)
    expect(world.textsTo(ADA).at(-1)).toContain('We have asked for')
    expect(await visitAt()).toBe('2026-03-20T13:30:00.000Z')
    expect(await world.reasons()).toContain('enter-move')
    const held = await world.deps.store.read.slots.list({
      ...{ clinicId: 'harbour', from: new Date(ASKED), limit: 1 },
    })
    expect(held).toMatchObject([{ state: 'held', bookingId: booking.id }])
    await take(movedTo(ASKED))
    expect(await visitAt()).toBe(ASKED)
    expect(await world.reasons()).not.toContain('enter-move')
    await world.passUntil('2026-03-10T15:00:00Z', 5)
    expect(world.textsTo(ADA).at(-1)).toContain('Mar 24')
    const taken = await world.deps.store.read.slots.list({ clinicId: 'harbour', from: new Date(ASKED), limit: 9 })
    expect(taken.map(({ state, bookingId }) => [state, bookingId])).toEqual([
      ['taken', booking.id],
      ['free', null],
    ])
  })

  it('does not move it at the desk either, which may decline', async () => {
    const { world, visitAt, booking } = await chosen(null)
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    await expect(settleMove(world.deps, offer.id, true, 'desk')).rejects.toThrow('schedule')
    await settleMove(world.deps, offer.id, false, 'desk')
    expect(await visitAt()).toBe('2026-03-20T13:30:00.000Z')
    expect(await world.reasons()).not.toContain('enter-move')
    expect(await world.reasons()).toContain('cannot-come')
  })

  it('has the call list say what nobody confirmed in time', async () => {
    const { world } = await chosen(null)
    await world.passUntil('2026-03-19T13:30:00Z', 240)
    expect(await world.reasons()).toContain('enter-move')
    await world.passUntil('2026-03-22T14:00:00Z', 240)
    expect(await world.reasons()).not.toContain('enter-move')
  })

  it('leaves a visit that no schedule told of to the desk', async () => {
    const { world } = await chosen(null)
    const phone = '+17825550144'
    const { booking } = await world.book({ visit: '2026-03-27T10:00', name: 'Bea Lowther', phone })
    await world.openings('2026-03-30T10:00')
    await world.reply(phone, "I can't come that day")
    await world.reply(phone, '1')
    expect(await world.reasons()).toContain('approve-move')
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    expect(await settleMove(world.deps, offer.id, true, 'desk')).toBe(true)
  })

  it('takes another time than was asked for as the schedule has it', async () => {
    const { world, take, visitAt } = await chosen(null)
    await take(movedTo('2026-03-26T13:00:00Z'))
    expect(await visitAt()).toBe('2026-03-26T13:00:00.000Z')
    expect(await world.reasons()).not.toContain('enter-move')
    expect(
      (await world.deps.store.read.slots.list({ clinicId: 'harbour', from: new Date(ASKED), limit: 9 })).map(
        ({ state }) => state,
      ),
    ).toEqual(['free', 'free', 'taken'])
  })
})

describe.skipIf(!present(PYTHON, ['-c', 'import hl7.mllp']))('the filler’s system', () => {
  it('is told by SIU^S13, again until it accepts, in its own ids and codes', async () => {
    const { port, heard } = await filler('AR', 'AA')
    const { world, booking } = await chosen(byMllp(port))
    const tell = () =>
      tellSchedules(
        world.deps,
        courier(world.deps, () => undefined),
      )
    expect(await tell()).toBe(0)
    expect(await tell()).toBe(0)
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 2 * 60_000))
    expect(await tell()).toBe(1)
    expect(await tell()).toBe(0)
    await expect.poll(() => heard.map(({ code }) => code)).toEqual(['AR', 'AA'])
    const [first, second] = heard.map(({ segments }) => new Map(segments.map((each) => [each[0], each])))
    expect(second).toEqual(first)
    const field = (name: string, number: number) => second!.get(name)![number]
    expect(field('MSH', 9)).toBe('SIU^S13^SIU_S12')
    expect([field('MSH', 5), field('MSH', 6), field('MSH', 12)]).toEqual(['SKERRYPAS', 'SKERRY', '2.5.1'])
    expect(field('SCH', 2)).toBe('7001^SKERRY')
    expect(field('SCH', 11)).toBe('^^^20260324100000-0300^20260324102000-0300')
    expect(field('SCH', 25)).toBe('Pending')
    expect(field('PID', 3)).toBe('000123^^^SKERRY^MR')
    expect([field('AIS', 3), field('AIL', 3), field('AIP', 3)]).toEqual(['PAP', 'GYN1', '1001'])
    expect(booking.visitAt.toISOString()).toBe('2026-03-20T13:30:00.000Z')
  })

  it('is not told any more of what the patient took back', async () => {
    const { port, heard } = await filler('AR', 'AA')
    const { world } = await chosen(byMllp(port))
    const tell = () =>
      tellSchedules(
        world.deps,
        courier(world.deps, () => undefined),
      )
    await tell()
    await world.reply(ADA, 'STOP')
    await world.reply(ADA, 'UNDO')
    const offers = await world.deps.store.read.offers.pending(
      (await world.deps.store.read.bookings.list({ limit: 1 }))[0]!.id,
    )
    if (offers) await settleMove(world.deps, offers.id, false, 'desk')
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 30 * 60_000))
    expect(await tell()).toBe(0)
    await expect.poll(() => heard).toHaveLength(1)
  })
})

describe('a clinic’s own software', () => {
  it('is told by a signed request, and again until it says yes', async () => {
    const got: { headers: IncomingHttpHeaders; body: string; url: string }[] = []
    const answers = [503, 204]
    const server = createServer((request, response) => {
      const parts: Buffer[] = []
      request.on('data', (part: Buffer) => parts.push(part))
      request.on('end', () => {
        got.push({ headers: request.headers, body: Buffer.concat(parts).toString(), url: request.url! })
        response.writeHead(answers[got.length - 1]!).end()
      })
    })
    await new Promise<void>((done) => server.listen(0, '127.0.0.1', done))
    ends.push(() => new Promise((done) => server.close(done)))
    const address = `http://127.0.0.1:${(server.address() as AddressInfo).port}/moves`
    const { world } = await chosen({ by: 'webhook', address, keyId: 'harbour', secret: 'env:HOOK' })
    const tell = () =>
      tellSchedules(
        world.deps,
        courier(world.deps, (name) => (name === 'HOOK' ? 'a-secret' : undefined)),
      )
    expect(await tell()).toBe(0)
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 2 * 60_000))
    expect(await tell()).toBe(1)
    expect(got).toHaveLength(2)
    expect(got[1]!.body).toBe(got[0]!.body)
    const { headers, body } = got[1]!
    expect(JSON.parse(body)).toMatchObject({
      ...{ what: 'move-asked', feed: 'skerry', appointment: { id: '7001', namespace: 'SKERRY' }, to: ASKED },
    })
    expect(body).not.toContain('Fenwick')
    const digest = `sha-256=:${createHash('sha256').update(body).digest('base64')}:`
    expect(headers['content-digest']).toBe(digest)
    const params = String(headers['signature-input']).replace(/^sig=/, '')
    expect(params).toMatch(
      /^\("@method" "@target-uri" "content-digest"\);created=\d+;keyid="harbour";alg="hmac-sha256"$/,
    )
    const base = `"@method": POST\n"@target-uri": ${address}\n"content-digest": ${digest}\n"@signature-params": ${params}`
    const mac = createHmac('sha256', 'a-secret').update(base).digest('base64')
    expect(headers.signature).toBe(`sig=:${mac}:`)
  })

  it('signs as RFC 9421 does in appendix B.2.5', () => {
    const secret = Buffer.from(
      'uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==',
      'base64',
    )
    const covered = [
      ['date', 'Tue, 20 Apr 2021 02:07:55 GMT'],
      ['@authority', 'example.com'],
      ['content-type', 'application/json'],
    ] as const
    const how = { created: 1618884473, keyId: 'test-shared-secret', secret }
    const { signature } = signed(covered, how, ';created=1618884473;keyid="test-shared-secret"')
    expect(signature).toBe('sig=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:')
  })
})
