import { connect } from 'node:net'
import { gzipSync } from 'node:zlib'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { listen } from '../../src/adapters/http/listen.ts'
import { TestWorld } from '../harness/world.ts'
import { API_KEY, bearer, cookieOf, hire, serveClosed, type Served } from '../access/signed-in.ts'

const HER = '+17825550101'
/** Markup, formulas, templates, control signs, and what is slow for careless patterns. */
const HOSTILE = [
  '<script>alert(1)</script>',
  '"><img src=x onerror=alert(1)>',
  "'; drop table patient; --",
  '=HYPERLINK("http://evil.example","click")',
  '@SUM(1+1)*cmd|calc',
  '{{constructor.constructor("return 1")()}}',
  '${7*7} #{7*7} <%= 7*7 %>',
  '\u0000\u0007\u001b[31mred',
  '\u202egnirts desrever\u202c',
  '\ud800 half a pair',
  'a'.repeat(20_000),
  'period '.repeat(3_000),
  '1'.repeat(10_000),
  `${'no '.repeat(2_000)}period started ${'yesterday '.repeat(500)}`,
  '😀'.repeat(2_000),
]

describe('a hostile texter', () => {
  let world: TestWorld
  let served: Served
  let clerk: Record<string, string>
  let bookingId: string

  /** A second later, since texts of one moment count as one delivered twice. */
  async function write(number: string, text: string): Promise<void> {
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 1_000))
    await world.pocket.reply(number, text)
  }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
    const { id } = await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
    clerk = await cookieOf(world, id)
    bookingId = (await world.book({ visit: '2026-03-25T09:00', name: '<b onmouseover=alert(2)>Ada', phone: HER }))
      .booking.id
    for (const text of HOSTILE) {
      const began = performance.now()
      await write(HER, text)
      expect({ text: text.slice(0, 20), quick: performance.now() - began < 3_000 }).toEqual({
        text: text.slice(0, 20),
        quick: true,
      })
    }
    await world.clock.moveTo(new Date('2026-03-09T13:05:00Z'))
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('is heard to the end, whatever was sent', async () => {
    const heard = await world.deps.store.read.replies.fromPhone(HER, new Date(0))
    expect(heard.map(({ text }) => text).sort()).toEqual([...HOSTILE].sort())
    expect(heard.filter(({ reading }) => reading === null)).toEqual([])
  })

  it('can write no markup into a page of the desk', async () => {
    const pages = [
      'calls',
      'replies',
      'bookings?day=2026-03-25',
      'day-sheet?day=2026-03-25',
      `visits/${bookingId}`,
      'openings',
    ]
    let shown = 0
    for (const page of pages) {
      const { status, text, headers } = await served.ask(`/desk/harbour/${page}`, { headers: clerk })
      if (status !== 200) continue
      shown++
      expect(text).not.toMatch(/<script>alert|<img src=x|<b onmouseover/i)
      expect(headers.get('content-security-policy')).toMatch(/default-src 'none';script-src 'self';/)
    }
    expect(shown).toBeGreaterThanOrEqual(4)
    expect((await served.ask('/desk/harbour/replies', { headers: clerk })).text).toContain(
      '&lt;script&gt;alert(1)&lt;/script&gt;',
    )
  })

  it('can keep no two machines talking for ever, and can bury no alarm under a flood', async () => {
    await world.book({ visit: '2026-03-26T09:00', phone: '782 555 0104', name: 'Dora Finch' })
    for (let i = 0; i < 60; i++) await write('+17825550166', `spam ${i} https://evil.example`)
    for (let i = 0; i < 60; i++) await write(HER, `more spam ${i}`)
    await write('+17825550104', 'heavy bleeding and terrible pain, i fainted')
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(world.textsTo('+17825550166')).toEqual([])
    expect(world.textsTo(HER).length).toBeLessThanOrEqual(world.deps.policy.answersADay + 1)
    const [first] = await world.deps.store.read.followUps.list({ open: true, limit: 1 })
    expect(first).toMatchObject({ reason: 'alarm', phone: '+17825550104' })
  })
})

describe('somebody at the door', () => {
  let world: TestWorld
  let served: Served
  let clerk: Record<string, string>
  let page: string

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    served = await serveClosed(world)
    const { id } = await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
    clerk = await cookieOf(world, id)
    const { booking } = await world.book({ visit: '2026-03-25T09:00' })
    page = new URL(world.deps.pageOf(booking.id, HER)).pathname
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('a curious clerk cannot export, erase, read the record or make a key, and the tries are on record', async () => {
    const { booking } = await world.book({
      visit: '2026-03-26T09:00',
      clinic: 'ridge',
      phone: '782 555 0102',
      name: 'Bea Lowther',
    })
    const tries: [string, string][] = [
      ['GET', `/api/v1/patients/${booking.patientId}/export`],
      ['DELETE', `/api/v1/patients/${booking.patientId}`],
      ['GET', '/api/v1/audit'],
      ['POST', '/api/v1/keys'],
      ['GET', `/api/v1/bookings/${booking.id}`],
      ['POST', `/api/v1/bookings/${booking.id}/cancel`],
    ]
    for (const [method, path] of tries)
      expect([403, 404]).toContain(
        (await served.ask(path, { method, headers: clerk, ...(method === 'POST' && { json: {} }) })).status,
      )
    const refused = (await world.deps.access.read.audit.list({ limit: 50 })).filter(({ facts }) => facts.refused)
    expect(refused).toHaveLength(tries.length)
    expect((await world.deps.store.read.bookings.get(booking.id))!.state).toBe('booked')
  })

  it('a private page opens by its whole address only', async () => {
    expect((await served.ask(page)).status).toBe(200)
    const wrong = [
      page.slice(0, -1),
      `${page}x`,
      page.replace(/.$/, (last) => (last === 'A' ? 'B' : 'A')),
      page.replace(/\.[\w-]+$/, '.'),
      page.toUpperCase(),
      '/v/%00',
      '/v/..%2f..%2fetc',
    ]
    for (const address of wrong) expect((await served.ask(address)).status).toBe(404)
  })

  it('who looks for private pages by trying is slowed down', async () => {
    const own = await serveClosed(world)
    const answers: number[] = []
    for (let i = 0; i < 250; i++) answers.push((await own.ask(`/v/guess${i}.${'x'.repeat(22)}`)).status)
    expect(answers.filter((status) => status === 429)).toHaveLength(10)
    await own.close()
  })

  it('who forges webhooks is refused, and slowed down', async () => {
    const own = await serveClosed(world)
    const answers: number[] = []
    for (let i = 0; i < 130; i++)
      answers.push(
        (await own.ask(`/gateways/pocket/reply?i=${i}`, { raw: '{"from":"+17825550101","text":"STOP"}' })).status,
      )
    expect(new Set(answers.slice(0, 100))).toEqual(new Set([404]))
    expect(new Set(answers.slice(100))).toEqual(new Set([429]))
    expect(await world.deps.store.read.optOuts.has(HER)).toBe(false)
    await own.close()
  })

  it.each([
    '/assets/..%2f..%2f..%2fpackage.json',
    '/assets/../../package.json',
    '/desk/assets/..%2fdesk.ts',
    '/desk/assets/%2e%2e/desk.ts',
    '/desk/assets//etc/passwd',
    '/.env',
    '/.git/config',
    '/v/../package.json',
  ])('no file can be had by %s', async (path) => {
    const { status, text } = await served.ask(path, { headers: clerk })
    expect(status).toBeGreaterThanOrEqual(300)
    expect(text).not.toMatch(/"dependencies"|import express|root:/)
  })

  it('methods, overrides and tunnels nobody asked for do nothing', async () => {
    const { booking } = await world.book({ visit: '2026-03-27T09:00', phone: '782 555 0103', name: 'Cleo Marsh' })
    const path = `/api/v1/bookings/${booking.id}/cancel`
    expect((await served.ask(path, { headers: { ...bearer(API_KEY), 'X-HTTP-Method-Override': 'POST' } })).status).toBe(
      404,
    )
    expect((await served.ask(`${path}?_method=POST`, { headers: bearer(API_KEY) })).status).toBe(404)
    expect((await served.ask(path, { method: 'PROPFIND', headers: bearer(API_KEY) })).status).toBe(404)
    expect((await world.deps.store.read.bookings.get(booking.id))!.state).toBe('booked')
  })

  it('a small compressed body cannot become a large one', async () => {
    const bomb = gzipSync(JSON.stringify({ by: 'x'.repeat(50_000_000) }))
    const answered = await fetch(`${served.base}/api/v1/bookings`, {
      method: 'POST',
      body: bomb,
      headers: { ...bearer(API_KEY), 'Content-Type': 'application/json', 'Content-Encoding': 'gzip' },
    }).then(
      ({ status }) => status,
      (error: Error) => (error.cause as NodeJS.ErrnoException).code,
    )
    // Refused in mid-body: whoever still sends may be cut off before the answer is read.
    expect([413, 'ECONNRESET', 'EPIPE']).toContain(answered)
  })

  it('bodies are not read for who is not signed in', async () => {
    const { status } = await served.ask('/api/v1/bookings', {
      raw: 'x'.repeat(60_000),
      headers: { 'Content-Type': 'application/json' },
    })
    expect(status).toBe(401)
  })

  it('fields that would reach into objects are refused', async () => {
    const raw = '{"visit":"2026-04-01T09:00","__proto__":{"admin":true},"constructor":{"prototype":{"admin":true}}}'
    const { status } = await served.ask('/api/v1/bookings', {
      raw,
      headers: { ...bearer(API_KEY), 'Content-Type': 'application/json' },
    })
    expect(status).toBe(422)
    expect(({} as { admin?: boolean }).admin).toBeUndefined()
  })

  it('a forged host name changes no address that is told', async () => {
    const { text } = await served.ask('/sign-in', {
      headers: { 'X-Forwarded-Host': 'evil.example', 'X-Forwarded-Proto': 'gopher' },
    })
    expect(text).not.toContain('evil.example')
    const { headers } = await served.ask('/desk', { headers: { 'X-Forwarded-Host': 'evil.example' } })
    expect(headers.get('location')).toBe('/sign-in?to=%2Fdesk')
  })

  it('every page carries the strict headers, and nothing about patients may be kept on the way', async () => {
    for (const path of [
      '/',
      '/sign-in',
      '/cautions',
      page,
      '/desk/harbour/bookings',
      '/api/v1/bookings?clinic=harbour',
      '/nothing',
    ]) {
      const { headers } = await served.ask(path, { headers: clerk })
      expect(headers.get('content-security-policy')).toMatch(/default-src 'none'.*frame-ancestors 'none'/)
      expect(headers.get('x-content-type-options')).toBe('nosniff')
      expect(headers.get('referrer-policy')).toBe('no-referrer')
      expect(headers.get('strict-transport-security')).toMatch(/max-age=31536000/)
      expect(headers.get('cross-origin-opener-policy')).toBe('same-origin')
      expect(headers.get('x-powered-by')).toBeNull()
      expect(headers.get('access-control-allow-origin')).toBeNull()
      if (path.includes('harbour') || path === page) expect(headers.get('cache-control')).toMatch(/no-store/)
    }
  })

  it('somebody who sends one byte at a time is hung up on', async () => {
    const slow = await listen((_request, response) => response.end(), '127.0.0.1', 0)
    const { port } = new URL(slow.url)
    const took = await new Promise<number>((done) => {
      const began = performance.now()
      const socket = connect(Number(port), '127.0.0.1', () => socket.write('GET / HTTP/1.1\r\nHost: x\r\n'))
      const drip = setInterval(() => socket.write('X-Drip: 1\r\n'), 500)
      socket.on('error', () => {})
      socket.on('close', () => (clearInterval(drip), done(performance.now() - began)))
    })
    await slow.stop()
    expect(took).toBeLessThan(45_000)
  })
})
