import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { withOffset } from '../../src/domain/local-time.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// The clinic is in Halifax (UTC-3 in summer time); the patient lives in Whitehorse, UTC-7 all year (IANA time zone
// database). Invented people.
const HOME = 'America/Whitehorse'

describe('a patient who lives in another zone than the clinic', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let id: string
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    api = await serveApi(world)
  })
  afterAll(async () => {
    await api.close()
    await world.close()
  })

  const ask = (zone: string) =>
    api.post('/api/v1/bookings', {
      visit: '2026-03-20T10:30',
      patient: { name: 'Una Skerrit', phone: '867 555 0134', zone },
      cycle: { lmp: 'no-periods' },
      consent: { recordedBy: 'desk' },
    })
  const clocks = async () =>
    (await world.deps.store.read.messages.ofBooking(id)).map(
      ({ kind, sendAt }) => `${kind} ${withOffset(sendAt, HOME).slice(5, 16)}`,
    )

  it('is refused with a zone that nobody knows', async () => {
    const { status, body } = await ask('America/Nowhere')
    expect([status, body.field]).toEqual([422, 'patient.zone'])
  })

  it('gets every message by the clock at home', async () => {
    const { status, body } = await ask(HOME)
    expect(status).toBe(201)
    expect(body.booking).toMatchObject({ zone: 'America/Halifax', patient: { zone: HOME } })
    id = body.booking.id
    // Booked at 06:00 there. The mark is 06:30 on the 18th there, so preparation goes the evening before.
    expect((await clocks()).sort()).toEqual(['confirmation 03-09T09:00', 'day-before 03-19T17:00', 'prep 03-17T18:00'])
  })

  it('reads the visit in the clinic’s time', async () => {
    await world.passUntil('2026-03-09T17:00:00Z')
    expect(world.textsTo('+18675550134').join()).toMatch(/Fri Mar 20 10:30am/)
  })

  it('waits for the morning there when a message is held up until after hours', async () => {
    const { messages } = world.deps.store.read
    const prep = (await messages.ofBooking(id)).find(({ kind }) => kind === 'prep')!
    // 09:30 in Halifax, where it might go; 05:30 at home.
    const sendAt = new Date('2026-03-17T12:30:00Z')
    await world.deps.store.transact((tx) => tx.messages.move(prep.id, ['planned', 'queued'], 'queued', { sendAt }))
    await world.passUntil('2026-03-17T17:30:00Z', 15)
    const sent = (await messages.get(prep.id))!.sentAt!
    expect(withOffset(sent, HOME).slice(0, 16)).toBe('2026-03-17T09:00')
  })

  it('is planned anew by another clock when the desk hears of a move', async () => {
    const { status } = await api.patch(`/api/v1/bookings/${id}`, { patient: { zone: 'America/Halifax' } })
    expect(status).toBe(200)
    const eve = (await world.deps.store.read.messages.ofBooking(id)).find(
      ({ kind, state }) => kind === 'day-before' && state !== 'withdrawn',
    )!
    expect(withOffset(eve.sendAt, 'America/Halifax')).toBe('2026-03-19T17:00:00-03:00')
  })
})
