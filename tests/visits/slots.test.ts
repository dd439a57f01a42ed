import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Booking } from '../../src/domain/visits/booking.ts'
import type { Failure } from '../../src/domain/failure.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

/**
 * Many at once, as clerks and patients would. On the embedded store they queue for one session; the rule holds by the
 * table's key, not by luck.
 */
describe.each(STORES)('on $name, a time can be had once', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())

  const phone = (index: number) => `782 555 01${String(index).padStart(2, '0')}`

  it('of twenty bookings for one time, one succeeds and nineteen are told that it is taken', async () => {
    const tries = await Promise.allSettled(
      Array.from({ length: 20 }, (_, index) =>
        world.book({ name: `Racer ${index}`, phone: phone(index), visit: '2026-03-25T09:00' }),
      ),
    )
    expect(tries.filter(({ status }) => status === 'fulfilled')).toHaveLength(1)
    const codes = tries.flatMap((each) => (each.status === 'rejected' ? [(each.reason as Failure).code] : []))
    expect(codes).toEqual(Array.from({ length: 19 }, () => 'time-taken'))
    const booked = await world.deps.store.read.bookings.list({
      from: new Date('2026-03-25T12:00:00Z'),
      to: new Date('2026-03-25T12:01:00Z'),
      limit: 50,
    })
    expect(booked).toHaveLength(1)
  })

  it('a refused booking leaves nothing behind: no patient, no message, no consent', async () => {
    await expect(world.book({ name: 'Late Comer', phone: phone(77), visit: '2026-03-25T09:00' })).rejects.toMatchObject(
      { code: 'time-taken' },
    )
    expect(await world.deps.store.read.patients.byPhone('+17825550177')).toEqual([])
    expect(await world.deps.store.read.messages.toPhone('+17825550177', 'harbour', new Date(0))).toEqual([])
  })

  it('of twenty holds on one opening, one succeeds', async () => {
    const bookings = await Promise.all(
      Array.from({ length: 20 }, (_, index) =>
        world.book({
          name: `Holder ${index}`,
          phone: phone(30 + index),
          visit: '2026-03-26T10:10',
          clinician: `room ${index}`,
        }),
      ),
    )
    const { added } = await world.openings('2026-04-08T09:00')
    const [opening] = added
    const until = new Date('2026-03-10T13:00:00Z')
    const held = await Promise.all(
      bookings.map(({ booking }) =>
        world.deps.store.transact((tx) => tx.slots.hold(opening!.id, booking, until, world.clock.now())),
      ),
    )
    expect(held.filter(Boolean)).toHaveLength(1)
    const holder = bookings[held.indexOf(true)]!
    const other = bookings[held.indexOf(false)]!
    const take = (visit: Booking) =>
      world.deps.store.transact((tx) => tx.slots.takeHeld(opening!.id, visit, world.clock.now()))
    expect(await take(other.booking)).toBeUndefined()
    expect((await take(holder.booking))?.state).toBe('taken')
  })

  it('a time held for one patient cannot be booked for another until the hold ends', async () => {
    const { booking } = await world.book({ name: 'Held For', phone: phone(60), visit: '2026-03-27T09:00' })
    const { added } = await world.openings('2026-04-09T09:00')
    const until = new Date(world.clock.now().getTime() + 3_600_000)
    await world.deps.store.transact((tx) => tx.slots.hold(added[0]!.id, booking, until, world.clock.now()))
    await expect(world.book({ name: 'Other', phone: phone(61), visit: '2026-04-09T09:00' })).rejects.toMatchObject({
      code: 'time-taken',
    })
    await world.passUntil('2026-03-09T14:30:00Z')
    await expect(world.book({ name: 'Other', phone: phone(61), visit: '2026-04-09T09:00' })).resolves.toBeDefined()
  })

  it('an opening that exists is not added twice, and a taken one cannot be removed', async () => {
    const first = await world.openings('2026-04-10T09:00')
    const second = await world.openings('2026-04-10T09:00', '2026-04-09T09:00')
    expect(first.added).toHaveLength(1)
    expect(second.existed).toEqual(['2026-04-10T09:00', '2026-04-09T09:00'])
    const taken = await world.deps.store.read.slots.list({
      clinicId: 'harbour',
      from: new Date('2026-04-09T11:00:00Z'),
      states: ['taken'],
      limit: 1,
    })
    expect(await world.deps.store.transact((tx) => tx.slots.remove(taken[0]!.id, world.clock.now()))).toBe(false)
  })
})

describe.each(STORES)('on $name, a transaction', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())

  it('refuses a query that strays outside it, instead of waiting for itself for ever', async ({ skip }) => {
    skip(world.composed.database.kind !== 'embedded', 'a server has more than one session')
    await expect(world.deps.store.transact(() => world.deps.store.read.clinics.list())).rejects.toMatchObject({
      name: 'StrayQuery',
    })
    expect(await world.deps.store.read.clinics.list()).toHaveLength(1)
  })

  it('undoes everything when it fails', async () => {
    const failing = world.deps.store.transact(async (tx) => {
      await tx.optOuts.add('+17825550155', 'stop', world.clock.now())
      throw new Error('in the middle')
    })
    await expect(failing).rejects.toThrow('in the middle')
    expect(await world.deps.store.read.optOuts.has('+17825550155')).toBe(false)
  })
})
