import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TestWorld } from '../harness/world.ts'

describe('sending', () => {
  let world: TestWorld
  let count = 20
  const fresh = () => ({ name: `Patient ${++count}`, phone: `782 555 01${count}` })
  const e164 = () => `+178255501${count}`

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  it('needs consent: without it nothing goes out and the desk is told', async () => {
    const { booking } = await world.book({ ...fresh(), visit: '2026-03-24T09:00', consent: null })
    await world.passUntil('2026-03-10T13:00:00Z')
    expect(world.textsTo(e164())).toEqual([])
    const list = await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 9 })
    expect(list.map(({ reason }) => reason)).toContain('no-consent')
  })

  it('waits for a decent hour', async () => {
    await world.passUntil('2026-03-10T23:30:00Z') // 20:30 in Halifax
    await world.book({ ...fresh(), visit: '2026-03-24T09:20' })
    await world.passUntil('2026-03-11T11:30:00Z') // 08:30
    expect(world.textsTo(e164())).toEqual([])
    await world.passUntil('2026-03-11T12:30:00Z') // 09:30
    expect(world.textsTo(e164())).toHaveLength(1)
  })

  it('tries again after a passing failure, while it is worth it', async () => {
    await world.passUntil('2026-03-11T13:00:00Z')
    const person = fresh()
    world.pocket.behave(e164(), { answer: 'later', times: 2 })
    const { booking } = await world.book({ ...person, visit: '2026-03-24T09:40' })
    await world.passUntil('2026-03-11T15:00:00Z')
    const confirmation = (await world.deps.store.read.messages.ofBooking(booking.id)).find(
      ({ kind }) => kind === 'confirmation',
    )!
    expect(confirmation.state).toBe('delivered')
    expect(confirmation.attempt).toBe(3)
    expect(await world.composed.metrics.text()).toContain('daysix_events_total{what="message-again"} 2')
  })

  it('a visit moved by the desk leaves no queued message of the old plan', async () => {
    const { amendBooking } = await import('../../src/flows/visits/amend-booking.ts')
    const { booking } = await world.book({ ...fresh(), visit: '2026-03-13T09:00' })
    const amended = await amendBooking(world.deps, booking.id, { visit: '2026-03-26T09:00', by: 'desk' })
    const unsent = (await world.deps.store.read.messages.ofBooking(booking.id)).filter(
      ({ state }) => state === 'planned' || state === 'queued',
    )
    expect(unsent.every(({ visitAt }) => visitAt!.getTime() === amended.booking.visitAt.getTime())).toBe(true)
    const planned = unsent.filter(({ kind }) => kind !== 'moved')
    expect(planned.every(({ revision }) => revision === amended.booking.planRevision)).toBe(true)
    await world.passUntil('2026-03-13T13:00:00Z', 60)
    expect(world.textsTo(e164()).filter((text) => /avoid|no sex/i.test(text))).toEqual([])
  })

  it('a cancelled visit is silent, but for that, and its time can be booked again', async () => {
    const { cancelBooking } = await import('../../src/flows/visits/amend-booking.ts')
    const { booking } = await world.book({ ...fresh(), visit: '2026-03-27T09:00' })
    await cancelBooking(world.deps, booking.id, 'desk')
    const waiting = [...(await world.kindsOf(booking.id, 'planned')), ...(await world.kindsOf(booking.id, 'queued'))]
    expect(waiting).toEqual(['cancelled'])
    await expect(world.book({ ...fresh(), visit: '2026-03-27T09:00' })).resolves.toBeDefined()
  })

  it('preparation that never arrives reaches the call list before the mark', async () => {
    const person = fresh()
    world.pocket.behave(e164(), { fate: 'vanishes' })
    const { booking } = await world.book({ ...person, visit: '2026-03-19T15:00' })
    await world.passUntil('2026-03-17T18:00:00Z') // the mark is 15:00 in Halifax
    const list = await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 9 })
    const call = list.find(({ reason }) => reason === 'not-delivered')!
    expect(call.openedAt.getTime()).toBeLessThan(new Date('2026-03-17T18:00:00Z').getTime() - 3_600_000)
  })

  it('holds come back when nobody answers the offer, and the desk is told', async () => {
    await world.passUntil('2026-03-18T13:00:00Z', 120)
    await world.openings('2026-03-30T09:00', '2026-03-31T09:00')
    const { booking } = await world.book({
      ...fresh(),
      visit: '2026-03-20T11:00',
      cycle: { status: 'cycling', lmp: '2026-02-18' },
    })
    await world.reply(e164(), 'period started today')
    expect(await world.deps.store.read.offers.pending(booking.id)).toBeDefined()
    await world.passUntil('2026-03-19T14:00:00Z', 60)
    expect(await world.deps.store.read.offers.pending(booking.id)).toBeUndefined()
    const held = await world.deps.store.read.slots.list({
      clinicId: 'harbour',
      from: world.clock.now(),
      states: ['held'],
      limit: 9,
    })
    expect(held).toEqual([])
    expect(await world.reasons()).toContain('offer-lapsed')
  })

  it('where the clinic wants to approve moves, the choice waits for the desk', async () => {
    const { settleMove } = await import('../../src/flows/visits/move-visit.ts')
    await world.putClinic({ movePolicy: 'desk-approves' })
    const { booking } = await world.book({
      ...fresh(),
      visit: '2026-03-22T11:20',
      cycle: { status: 'cycling', lmp: '2026-02-18' },
    })
    await world.reply(e164(), 'period started today')
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    await world.reply(e164(), '1')
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
    expect(await world.reasons()).toContain('approve-move')
    await settleMove(world.deps, offer.id, true, 'desk')
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(offer.choices[0]!.at)
    expect(await world.reasons()).not.toContain('approve-move')
    await world.putClinic()
  })

  it("what was to be done before a visit leaves the call list when the visit is over; the patient's words stay", async () => {
    const { booking } = await world.book({
      ...fresh(),
      visit: '2026-03-23T09:00',
      cycle: { status: 'cycling', lmp: '2026-02-22', usualCycleDays: 28 },
      consent: null,
    })
    await world.reply(e164(), 'is the car park behind the bakery open')
    const open = async () =>
      (await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 9 })).map(
        ({ reason }) => reason,
      )
    expect(await open()).toEqual(expect.arrayContaining(['no-consent', 'badly-timed', 'unclear-reply']))
    await world.passUntil('2026-03-24T03:00:00Z', 240)
    expect(await open()).toEqual(['unclear-reply'])
  })
})
