import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { recordOutcome } from '../../src/flows/visits/record-outcome.ts'
import { takeBackOutcome } from '../../src/flows/visits/take-back-outcome.ts'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// What is recorded of a visit is common practice, no source. Invented people.
describe('how a visit ended', () => {
  let world: TestWorld
  let id: string
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-16T13:00:00Z')
    id = (await world.book({ visit: '2026-03-17T10:00' })).booking.id
  })
  afterEach(() => world.close())

  const calls = async () =>
    (await world.deps.store.read.followUps.list({ bookingId: id, open: true, limit: 50 })).map(({ reason }) => reason)
  const kept = async () => (await world.deps.store.read.bookings.get(id))!.outcome

  it('is not known before its day, nor of a cancelled one', async () => {
    const record = () => recordOutcome(world.deps, id, { kind: 'collected', because: null, by: 'clinician' })
    await expect(record()).rejects.toThrow('still to come')
    await cancelBooking(world.deps, id, 'desk')
    await world.passUntil('2026-03-17T14:00:00Z', 240)
    await expect(record()).rejects.toThrow('cancelled')
    expect(await kept()).toBeNull()
  })

  it('with a specimen ends what was to be done about the visit', async () => {
    expect(await calls()).toContain('short-notice')
    await world.passUntil('2026-03-17T14:00:00Z', 240)
    await recordOutcome(world.deps, id, { kind: 'collected', because: null, by: 'clinician' })
    expect(await calls()).toEqual([])
    expect(await kept()).toMatchObject({ kind: 'collected', because: null, by: 'clinician' })
  })

  it('without one is a call for another visit, once, until it is recorded otherwise', async () => {
    await world.passUntil('2026-03-17T14:00:00Z', 240)
    await recordOutcome(world.deps, id, { kind: 'not-collected', because: 'bleeding', by: 'clinician' })
    expect(await calls()).toEqual(['no-specimen'])
    const [call] = await world.deps.store.read.followUps.list({ bookingId: id, open: true, limit: 5 })
    expect(call!.detail.why).toBe('Not collected: bleeding')
    expect(call!.detail.goodDates).not.toEqual([])
    await recordOutcome(world.deps, id, { kind: 'absent', because: null, by: 'desk' })
    expect(await calls()).toEqual(['no-specimen'])
    await recordOutcome(world.deps, id, { kind: 'collected', because: null, by: 'desk' })
    expect(await calls()).toEqual([])
  })

  it('is taken back whole: the calls that it ended are open again, the one that it opened is not', async () => {
    await world.passUntil('2026-03-17T14:00:00Z', 240)
    const before = await calls()
    await recordOutcome(world.deps, id, { kind: 'absent', because: null, by: 'desk' })
    await takeBackOutcome(world.deps, id, 'desk')
    expect(await kept()).toBeNull()
    expect(await calls()).toEqual(before)
    await expect(takeBackOutcome(world.deps, id, 'desk')).rejects.toThrow('too-late')
    await recordOutcome(world.deps, id, { kind: 'absent', because: null, by: 'desk' })
    expect(await calls()).toEqual(['no-specimen'])
  })

  it.each([
    ['not-collected', null, 'Say why'],
    ['collected', 'bleeding', 'belongs to'],
  ] as const)('is refused where the reason does not fit: %s, %s', async (kind, because, words) => {
    await world.passUntil('2026-03-17T14:00:00Z', 240)
    await expect(recordOutcome(world.deps, id, { kind, because, by: 'desk' })).rejects.toThrow(words)
  })
})
