import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { withOffset } from '../../src/domain/local-time.ts'
import { TestWorld } from '../harness/world.ts'

// A visit eight days after the day on which the next period is due by the calendar (LMP 2 March and 28 days: 30 March).
// Invented people.
const PHONE = '+17825550151'

describe('the question whether the period has begun', () => {
  let world: TestWorld
  let booked: Booked
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-23T13:00:00Z')
    booked = await world.book({ name: 'Pia Darnley', phone: PHONE, visit: '2026-04-06T10:30' })
  })
  afterEach(() => world.close())

  const messages = () => world.deps.store.read.messages.ofBooking(booked.booking.id)
  const asked = async () =>
    (await messages())
      .filter(({ kind, state }) => kind.startsWith('cycle-check') && state !== 'withdrawn')
      .map(({ kind, sendAt }) => `${kind} ${withOffset(sendAt, 'America/Halifax').slice(0, 16)}`)
  const calls = async () => {
    const found = await world.deps.store.read.followUps.list({ bookingId: booked.booking.id, limit: 50 })
    return found.filter(({ reason }) => reason === 'unanswered-check')
  }
  /** As if the first question had been put so early that there is room for a second: the week is full otherwise. */
  const putBoth = async () => {
    const all = await messages()
    const first = all.find(({ kind }) => kind === 'cycle-check')!
    const again = { ...first, id: 'm_again', kind: 'cycle-check-again' as const }
    const sendAt = new Date(first.sendAt.getTime() + 2 * 86_400_000)
    const notAfter = new Date(sendAt.getTime() + 86_400_000)
    await world.deps.store.transact(async (tx) => void (await tx.messages.insert([{ ...again, sendAt, notAfter }])))
  }

  it('is planned within four to eight days of the visit', async () => {
    expect(await asked()).toEqual([expect.stringMatching(/^cycle-check 2026-0(3-(29|30|31)|4-0[12])T11:00$/)])
  })

  it('is put once more, in other words, and either is understood', async () => {
    await putBoth()
    await world.passUntil('2026-04-03T18:00:00Z', 120)
    expect(world.textsTo(PHONE).filter((text) => text.includes('We do not know yet'))).toHaveLength(1)
    await world.reply(PHONE, 'not yet')
    const patient = await world.deps.store.read.patients.get(booked.patient.id)
    expect(patient!.cycle.notStartedBy).toBe('2026-04-03')
  })

  it('is not put again to whoever has answered', async () => {
    await putBoth()
    const first = (await messages()).find(({ kind }) => kind === 'cycle-check')!
    await world.passUntil(new Date(first.sendAt.getTime() + 3_600_000).toISOString(), 120)
    expect(world.textsTo(PHONE).join()).toContain('Has your period started?')
    await world.reply(PHONE, 'not yet')
    await world.passUntil('2026-04-05T18:00:00Z', 120)
    expect(world.textsTo(PHONE).join()).not.toContain('We do not know yet')
    expect(await calls()).toEqual([])
  })

  it('is not put a second time where it was never put a first time', async () => {
    await putBoth()
    const first = (await messages()).find(({ kind }) => kind === 'cycle-check')!
    await world.deps.store.transact((tx) => tx.messages.move(first.id, ['planned', 'queued'], 'failed'))
    await world.passUntil('2026-04-03T18:00:00Z', 120)
    const again = (await messages()).find(({ kind }) => kind === 'cycle-check-again')!
    expect(again).toMatchObject({ state: 'withdrawn', sentAt: null })
  })

  it('is a call also where the service stood still while the answer was due', async () => {
    const first = (await messages()).find(({ kind }) => kind === 'cycle-check')!
    await world.passUntil(new Date(first.sendAt.getTime() + 3_600_000).toISOString(), 120)
    expect(world.textsTo(PHONE).join()).toContain('Has your period started?')
    await world.clock.moveTo(new Date(first.sendAt.getTime() + 4.1 * 86_400_000))
    await world.passUntil(new Date(world.clock.now().getTime() + 600_000).toISOString(), 5)
    expect(await calls()).toHaveLength(1)
  })

  it('is a call once it has stayed unanswered for two days, once, until the patient tells', async () => {
    await world.passUntil('2026-04-04T18:00:00Z', 120)
    const [call, ...more] = await calls()
    expect(more).toEqual([])
    expect(call).toMatchObject({ closedAt: null })
    await world.deps.store.transact((tx) => tx.followUps.close(call!.id, 'desk', 'nobody there', world.clock.now()))
    await world.passUntil('2026-04-04T22:00:00Z', 120)
    expect(await calls()).toHaveLength(1)
  })

  it('is not answered by what another patient at that number writes of a visit of that other', async () => {
    const other = await world.book({ name: 'Nan Darnley', phone: PHONE, visit: '2026-04-24T10:30' })
    const first = (await messages()).find(({ kind }) => kind === 'cycle-check')!
    await world.passUntil(new Date(first.sendAt.getTime() + 3_600_000).toISOString(), 120)
    await world.reply(PHONE, 'not yet')
    const { asked } = (await world.deps.store.read.replies.fromPhone(PHONE, new Date(0))).at(-1)!
    const number = asked!.findIndex(({ bookingId }) => bookingId === other.booking.id) + 1
    await world.reply(PHONE, String(number))
    expect((await world.deps.store.read.patients.get(other.patient.id))!.cycle.notStartedBy).toBeDefined()
    await world.passUntil('2026-04-05T18:00:00Z', 120)
    expect(await calls()).toHaveLength(1)
  })

  it('ends that call when the patient tells', async () => {
    await world.passUntil('2026-04-04T18:00:00Z', 120)
    await world.reply(PHONE, 'it started on 28 March')
    expect(await calls()).toMatchObject([{ closedBy: 'daysix', outcome: 'the patient has told' }])
  })
})
