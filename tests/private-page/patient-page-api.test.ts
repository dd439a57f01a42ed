import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

describe('the private page of a booking', () => {
  let world: TestWorld
  let base: string
  let close: () => Promise<void>
  let count = 50

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    const api = await serveApi(world)
    base = api.base
    close = api.close
  })
  afterAll(async () => {
    await close()
    await world.close()
  })

  const book = async (changes: Partial<Parameters<TestWorld['book']>[0]> & { visit: string }): Promise<Booked> => {
    const booked = await world.book({
      name: `Nobody ${++count}`,
      phone: `782 555 01${count}`,
      clinician: `room ${count}`,
      cycle: { status: 'cycling', lmp: '2026-02-09', usualCycleDays: 28 },
      ...changes,
    })
    phones.set(booked.booking.id, booked.patient.phone)
    return booked
  }
  const phones = new Map<string, string>()
  const path = (id: string) => new URL(world.deps.pageOf(id, phones.get(id)!)).pathname
  const get = (where: string) => fetch(base + where, { redirect: 'manual' })
  const answer = (id: string, fields: Record<string, string>) =>
    fetch(base + path(id), { method: 'POST', body: new URLSearchParams(fields), redirect: 'manual' })

  it("shows the patient's own times and no name, is not indexed and not kept", async () => {
    const { booking } = await book({ visit: '2026-03-25T10:30' })
    const response = await get(path(booking.id))
    const page = await response.text()
    expect(response.status).toBe(200)
    expect(response.headers.get('x-robots-tag')).toMatch(/noindex/)
    expect(response.headers.get('cache-control')).toBe('no-store')
    expect(page).toMatch(/March 25/)
    expect(page).not.toMatch(/Nobody|555-?01\d\d(?<!0190)/)
  })

  it('opens for the right token only, and does not tell a wrong one from a missing booking', async () => {
    const { booking } = await book({ visit: '2026-03-25T10:50' })
    const right = path(booking.id)
    const forged = [
      `${right.slice(0, -1)}${right.endsWith('A') ? 'B' : 'A'}`,
      '/v/nothing.here',
      `/v/${booking.id}`,
      '/v/..%2Fetc',
    ]
    const answers = await Promise.all(forged.map(async (each) => (await get(each)).status))
    expect(new Set(answers)).toEqual(new Set([404]))
  })

  it('takes "my period started" by the same flow as a text, and shows the answer instead of texting it', async () => {
    const { booking, patient } = await book({ visit: '2026-03-26T10:30' })
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
    const texts = world.textsTo(patient.phone).length
    const posted = await answer(booking.id, { answer: 'period-started', startedOn: '2026-03-09', lang: 'en' })
    expect(posted.status).toBe(303)
    const page = await (await get(posted.headers.get('location')!)).text()
    expect(page).toMatch(/stays on Thu Mar 26/)
    expect((await world.deps.store.read.patients.get(patient.id))!.cycle.lmp).toBe('2026-03-09')
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
    expect(world.textsTo(patient.phone)).toHaveLength(texts)
    expect((await world.deps.store.read.replies.fromPhone(patient.phone, new Date(0)))[0]!.reading!.meaning).toBe(
      'period-started',
    )
  })

  it('offers better times on the page when the visit is spoilt, and moves it at a press', async () => {
    await world.openings('2026-03-18T09:00', '2026-03-19T09:00', '2026-03-20T09:00')
    const { booking } = await book({ visit: '2026-03-12T10:30' })
    await answer(booking.id, { answer: 'period-started', startedOn: '2026-03-09', lang: 'en' })
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    const page = await (await get(path(booking.id))).text()
    expect(page.match(/name="choice"/g)).toHaveLength(offer.choices.length)
    await answer(booking.id, { answer: 'choice', choice: offer.choices[0]!.slotId, lang: 'en' })
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(offer.choices[0]!.at)
  })

  it.each([
    ['a date that does not exist', { answer: 'period-started', startedOn: '2026-02-30' }],
    ['a date to come', { answer: 'period-started', startedOn: '2026-04-01' }],
    ['no date', { answer: 'period-started' }],
    ['an answer nobody offered', { answer: 'choice', choice: '3' }],
    ['rubbish', { answer: 'x'.repeat(1000) }],
  ])('refuses %s, says so on the page and changes nothing', async (_what, fields) => {
    const { booking, patient } = await book({ visit: `2026-03-27T10:${count}` })
    const response = await answer(booking.id, fields as Record<string, string>)
    expect(response.status).toBe(422)
    expect(await response.text()).toMatch(/role="alert"/)
    expect((await world.deps.store.read.patients.get(patient.id))!.cycle.lmp).toBe('2026-02-09')
  })

  it('speaks the language the patient asks for', async () => {
    const { booking } = await book({ visit: '2026-03-30T10:30' })
    expect(await (await get(`${path(booking.id)}?lang=fr`)).text()).toMatch(/<html lang="fr/)
    expect(await (await get(`${path(booking.id)}?lang=xx`)).text()).toMatch(/<html lang="en/)
  })

  it('gives a calendar file that names neither clinic nor reason (RFC 5545)', async () => {
    const { booking } = await book({ visit: '2026-03-31T10:30' })
    const response = await get(`${path(booking.id)}/visit.ics`)
    const file = await response.text()
    expect(response.headers.get('content-type')).toMatch(/text\/calendar/)
    expect(file).toMatch(/DTSTART:20260331T133000Z/)
    expect(file).not.toMatch(/Harbour|cervical|screen|specimen/i)
  })

  it('takes "I will come" by one press, asks it no more, and tells the desk', async () => {
    const { booking } = await book({ visit: '2026-04-02T10:30' })
    const page = await (await get(path(booking.id))).text()
    expect(page).toMatch(/<button name="answer" value="confirm">Yes, I will come<\/button>/)
    // One filled button: what most have to say.
    expect(page.match(/<button(?! class="plain")/g)).toHaveLength(1)
    expect((await answer(booking.id, { answer: 'confirm', lang: 'en' })).status).toBe(303)
    expect((await world.deps.store.read.bookings.get(booking.id))!.confirmedAt).not.toBeNull()
    expect(await (await get(path(booking.id))).text()).not.toContain('value="confirm"')
  })

  it('says where the clinic is, where the clinic has said so', async () => {
    const { booking } = await book({ visit: '2026-04-03T10:30' })
    expect(await (await get(path(booking.id))).text()).not.toContain('Where we are')
    await world.putClinic({ address: '3 Quay Lane, Skerry', directions: 'Ring twice at the blue door.' })
    const page = await (await get(path(booking.id))).text()
    expect(page).toMatch(/Where we are<\/h2>\s*<p>3 Quay Lane, Skerry<\/p>\s*<p>Ring twice at the blue door\.<\/p>/)
    await world.putClinic()
  })

  it('answers a wrong, cut or old address with a page for people, in a language that they read', async () => {
    const { booking } = await book({ visit: '2026-04-04T10:30' })
    for (const wrong of [path(booking.id).slice(0, -4), '/v/nothing.here', '/v/', '/v/a/b/c']) {
      const response = await get(wrong)
      const page = await response.text()
      expect([response.status, response.headers.get('content-type')]).toEqual([404, 'text/html; charset=utf-8'])
      expect(page).toMatch(/This address does not open a page.*open it again from our message, or call the clinic/s)
      expect(page).not.toMatch(/Harbour|April 4/)
    }
    const french = await fetch(`${base}/v/nothing.here`, { headers: { 'Accept-Language': 'fr-CA, en;q=0.5' } })
    // Only languages that the site has approved are shown to patients.
    expect(await french.text()).toMatch(/<html lang="(fr|en)/)
  })

  it('closes after the visit, and when it is cancelled', async () => {
    const { cancelBooking } = await import('../../src/flows/visits/amend-booking.ts')
    const { booking } = await book({ visit: '2026-04-01T10:30' })
    await cancelBooking(world.deps, booking.id, 'desk')
    const cancelled = await get(path(booking.id))
    expect(cancelled.status).toBe(410)
    expect(await cancelled.text()).not.toMatch(/April 1/)
    const other = await book({ visit: '2026-03-10T10:30' })
    await world.passUntil('2026-03-11T13:00:00Z', 240)
    expect((await get(path(other.booking.id))).status).toBe(410)
    expect((await answer(other.booking.id, { answer: 'cannot-come' })).status).toBe(410)
  })

  it('says in words that nothing can be kept just now, and when to come again; what is kept can be read', async () => {
    const { booking } = await book({ visit: '2026-03-27T10:30' })
    const { records } = world.composed.database
    // As on a server that has become a standby: PostgreSQL refuses every write (25006).
    await records.query('set default_transaction_read_only = on')
    try {
      const refused = await answer(booking.id, { answer: 'confirm', lang: 'en' })
      expect(refused.status).toBe(503)
      expect(Number(refused.headers.get('Retry-After'))).toBeGreaterThan(0)
      expect(await refused.text()).toMatch(/^<!doctype html>[^]*may not have been saved/i)
      expect((await get(path(booking.id))).status).toBe(200)
    } finally {
      await records.query('set default_transaction_read_only = off')
    }
    expect((await answer(booking.id, { answer: 'confirm', lang: 'en' })).status).toBe(303)
  })
})
