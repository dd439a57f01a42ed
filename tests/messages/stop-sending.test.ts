import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// The one switch, over the service's API and pages on virtual time. Invented people.
const ADA = '+17825550101'
const BEA = '+17825550102'

describe('the switch for all sending', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    api = await serveApi(world)
  })
  afterEach(async () => {
    await api.close()
    await world.close()
  })

  const stop = (clinic?: string) =>
    api.post('/api/v1/sending/stop', { ...(clinic && { clinic }), why: 'wrong words in French' })
  const resume = (backlog: 'send' | 'call', clinic?: string) =>
    api.post('/api/v1/sending/resume', { ...(clinic && { clinic }), backlog })
  const page = async (path: string) => (await fetch(`${api.base}${path}`)).text()
  const ada = (visit: string) => world.book({ visit })
  const bea = (visit: string) => world.book({ name: 'Bea Noakes', phone: '782 555 0102', clinic: 'ridge', visit })

  it('keeps everything back, also what is queued and what answers a text, until it is resumed', async () => {
    await ada('2026-03-19T10:00')
    expect((await stop()).status).toBe(200)
    await bea('2026-03-19T10:00')
    await world.reply(ADA, 'is a bath ok?')
    await world.passUntil('2026-03-09T16:00:00Z', 15)
    expect([...world.textsTo(ADA), ...world.textsTo(BEA)]).toEqual([])
    expect((await resume('send')).body).toEqual({ dropped: 0 })
    await world.passUntil('2026-03-09T16:05:00Z', 1)
    expect(world.textsTo(ADA)).toHaveLength(2)
    expect(world.textsTo(BEA)).toHaveLength(1)
  })

  it('can be thrown for one clinic alone', async () => {
    await stop('ridge')
    await ada('2026-03-19T10:00')
    await bea('2026-03-19T10:00')
    await world.passUntil('2026-03-09T14:00:00Z', 15)
    expect([world.textsTo(ADA).length, world.textsTo(BEA).length]).toEqual([1, 0])
  })

  it('what has become worthless meanwhile is on the call list, never sent late in silence', async () => {
    const { booking } = await ada('2026-03-12T10:00')
    await world.passUntil('2026-03-09T14:00:00Z', 15)
    const before = world.textsTo(ADA).length
    await stop()
    await world.passUntil('2026-03-10T15:00:00Z', 60) // the mark was at 13:00Z
    const open = await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })
    expect(open.map(({ reason }) => reason)).toContain('not-delivered')
    await resume('send')
    await world.passUntil('2026-03-10T15:30:00Z', 10)
    expect(
      world
        .textsTo(ADA)
        .slice(before)
        .filter((text) => /no sex/i.test(text)),
    ).toEqual([])
  })

  it('or, as chosen, what was due goes on the call list instead of out', async () => {
    const { booking } = await ada('2026-03-17T10:00') // preparation on the 14th at six in the evening
    await world.passUntil('2026-03-09T14:00:00Z', 15)
    await stop()
    await world.passUntil('2026-03-14T22:00:00Z', 240)
    expect((await resume('call')).body.dropped).toBeGreaterThan(0)
    await world.passUntil('2026-03-15T12:00:00Z', 60)
    expect(world.textsTo(ADA).filter((text) => /no sex/i.test(text))).toEqual([])
    const open = await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })
    expect(open.map(({ reason }) => reason)).toContain('not-delivered')
  })

  it('is shown on every page, with who and why, and is on record', async () => {
    const { booking } = await ada('2026-03-19T10:00')
    await stop('harbour')
    for (const each of [
      'bookings',
      'book',
      'calls',
      'replies',
      'openings',
      'day-sheet',
      'texts',
      'service',
      'sending',
      `visits/${booking.id}`,
    ]) {
      expect(await page(`/desk/harbour/${each}`), each).toMatch(
        /All sending of this clinic is stopped<\/b> since [^:]+:\d\d by desk: wrong words in French/,
      )
    }
    expect(await page('/desk/ridge/bookings')).not.toMatch(/sending .* is stopped/)
    await stop()
    for (const each of ['/desk/ridge/bookings', '/desk', '/'])
      expect(await page(each), each).toMatch(/All sending of all clinics is stopped/)
    const entries = await world.deps.access.read.audit.list({ limit: 50 })
    expect(
      entries.filter(({ what }) => what === 'sending-stopped').map(({ clinicId, actorId }) => [clinicId, actorId]),
    ).toEqual([
      [null, 'local'],
      ['harbour', 'local'],
    ])
  })

  it('is thrown and lifted on its page', async () => {
    const press = (form: Record<string, string>) =>
      fetch(`${api.base}/desk/harbour/sending`, {
        method: 'POST',
        body: new URLSearchParams(form),
        headers: { Origin: api.base },
        redirect: 'follow',
      }).then((answer) => answer.text())
    expect(await press({ do: 'stop', scope: 'harbour', why: 'the provider doubles texts' })).toMatch(
      /Stopped since .*the provider doubles texts/,
    )
    await ada('2026-03-19T10:00')
    await world.passUntil('2026-03-09T14:00:00Z', 15)
    expect(world.textsTo(ADA)).toEqual([])
    expect(await press({ do: 'send', scope: 'harbour' })).toMatch(/Messages go out/)
    await world.passUntil('2026-03-09T14:10:00Z', 1)
    expect(world.textsTo(ADA)).toHaveLength(1)
  })

  it('says what is wrong: twice, without a reason, for no clinic, resumed while it goes on', async () => {
    await stop()
    expect((await stop()).body.code).toBe('too-late')
    expect((await api.post('/api/v1/sending/stop', { clinic: 'harbour' })).status).toBe(422)
    expect((await stop('nowhere')).status).toBe(404)
    expect((await resume('send', 'harbour')).body.code).toBe('too-late')
    expect((await api.post('/api/v1/sending/resume', {})).body.detail).toMatch(
      /"send" what is still worth it, or "call"/,
    )
  })
})
