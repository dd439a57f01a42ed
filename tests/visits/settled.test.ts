import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { judgeBooking } from '../../src/flows/visits/judge-booking.ts'
import { loadVisit } from '../../src/flows/lookups.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Own rules, where visits that last meet offers, the desk's word, days that are over and telephones. Invented people.
const NO_PERIODS = { cycle: { status: 'no-periods' } } as const
const START = '2026-03-09T13:00:00Z'

describe.each(STORES)('on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let n = 0
  let phone: string
  beforeAll(async () => {
    opened = await open(START)
    world = opened.world
  })
  afterAll(() => opened.close())
  beforeEach(() => {
    n++
    phone = `+178255501${String(n).padStart(2, '0')}`
  })

  const read = () => world.deps.store.read
  /** Each at a clinician of its own, so that tests do not meet. */
  const book = (visit: string, more: object = {}) =>
    world.book({ name: `Patient ${n}`, phone, visit, clinician: `room ${n}`, ...NO_PERIODS, ...more })
  const now = (id: string) => read().bookings.get(id)
  const add = (...at: string[]) => addOpenings(world.deps, { clinic: 'harbour', clinician: `room ${n}`, at })
  const calls = async (bookingId: string) =>
    (await read().followUps.list({ bookingId, limit: 50 })).map(({ reason, outcome }) => [reason, outcome])

  describe('a choice that waits for the desk', () => {
    async function waiting() {
      await world.putClinic({ movePolicy: 'desk-approves' })
      const { booking } = await book('2026-04-20T10:00', { minutes: 20 })
      await add('2026-04-10T10:00')
      await world.reply(phone, "I can't come that day")
      await world.reply(phone, '1')
      const offer = (await read().offers.pending(booking.id))!
      expect(offer.state).toBe('waiting')
      return { booking, offer, at: offer.choices[0]!.at }
    }

    it('is held for as long as the visit lasts by now', async () => {
      const { booking, offer, at } = await waiting()
      await amendBooking(world.deps, booking.id, { minutes: 40, by: 'desk' })
      await expect(book('2026-04-10T10:20', { name: 'Other', minutes: 20 })).rejects.toMatchObject({
        code: 'time-taken',
      })
      expect(await settleMove(world.deps, offer.id, true, 'desk')).toBe(true)
      expect((await now(booking.id))!.visitAt).toEqual(at)
      expect(await calls(booking.id)).toContainEqual(['approve-move', 'move approved'])
    })

    it('ends, and the desk is told, where it does not fit any more', async () => {
      const { booking, offer } = await waiting()
      await book('2026-04-10T10:20', { name: 'Other', minutes: 20 })
      await amendBooking(world.deps, booking.id, { minutes: 40, by: 'desk' })
      expect((await read().offers.get(offer.id))!.state).toBe('overtaken')
      expect(await calls(booking.id)).toContainEqual(['cannot-come', null])
    })

    it('is not lost to somebody who is overbooked beside it', async () => {
      const { booking, offer, at } = await waiting()
      await book('2026-04-10T10:00', { name: 'Beside', overbook: true })
      expect(await settleMove(world.deps, offer.id, true, 'desk')).toBe(true)
      expect((await now(booking.id))!.visitAt).toEqual(at)
    })

    it('is not called approved where it could not be had', async () => {
      const { booking, offer } = await waiting()
      await world.clock.moveTo(new Date(offer.until.getTime() + 1000))
      expect(await settleMove(world.deps, offer.id, true, 'desk')).toBe(false)
      expect(await calls(booking.id)).toContainEqual(['approve-move', 'approved, but the time is gone'])
      expect((await now(booking.id))!.visitAt).toEqual(booking.visitAt)
    })
  })

  it('nobody is booked into, or offered, two visits at once', async () => {
    await world.putClinic({ movePolicy: 'at-once' })
    await book('2026-05-13T10:00', { minutes: 60 })
    const again = book('2026-05-13T10:10', { clinician: 'elsewhere', minutes: 20 })
    await expect(again).rejects.toMatchObject({ code: 'already-booked' })
    const { booking } = await book('2026-05-20T15:00', { clinician: 'elsewhere', minutes: 20 })
    await add('2026-05-13T10:30', '2026-05-13T11:00')
    const about = await loadVisit(read(), booking)
    const { openings } = await judgeBooking(read(), world.deps, about, { mustMove: true })
    const offered = openings.map(({ opening }) => opening.startsAt.toISOString())
    expect(offered).not.toContain('2026-05-13T13:30:00.000Z')
  })

  it('an overbooked visit may be made shorter', async () => {
    await book('2026-05-14T10:00', { name: 'First', minutes: 20 })
    const { booking } = await book('2026-05-14T10:10', { minutes: 30, overbook: true })
    expect((await amendBooking(world.deps, booking.id, { minutes: 20, by: 'desk' })).booking.minutes).toBe(20)
  })

  it('a landline is offered nothing that nobody tells: the desk has the words', async () => {
    const patient = { name: 'Lin', phone, language: 'en', reach: 'calls-only' } as const
    const { booking } = await book('2026-06-30T10:00', { patient })
    await add('2026-06-20T15:00')
    await world.reply(phone, "I can't come that day")
    expect(await read().offers.pending(booking.id)).toBeUndefined()
    const [call] = await read().followUps.list({ bookingId: booking.id, open: true, limit: 9 })
    expect(call).toMatchObject({ reason: 'cannot-come', detail: { words: "I can't come that day" } })
  })

  it('a visit that is over is moved by nobody, however its patient answers', async () => {
    const day = new Date(world.clock.now().getTime() + 86_400_000).toISOString().slice(0, 10)
    const { booking } = await book(`${day}T19:30`)
    await add('2026-06-27T10:00', '2026-06-28T10:00')
    await world.passUntil(new Date(booking.visitAt.getTime() + 5 * 3_600_000).toISOString(), 120)
    await world.reply(phone, "sorry, I can't come")
    await world.reply(phone, '1')
    expect((await now(booking.id))!.visitAt).toEqual(booking.visitAt)
    const open = await read().followUps.list({ phone, open: true, limit: 9 })
    expect(open.map(({ detail }) => detail.words)).toContain("sorry, I can't come")
  })

  it('what the desk decides days later keeps to consent', async () => {
    await world.putClinic({ movePolicy: 'desk-approves' })
    const today = world.clock.now()
    const until = new Date(today.getTime() + 86_400_000).toISOString().slice(0, 10)
    const { booking } = await book('2026-06-25T10:00', { consent: { recordedBy: 'desk', until } })
    await add('2026-06-18T11:00')
    await world.reply(phone, "I can't come that day")
    await world.reply(phone, '1')
    const offer = (await read().offers.pending(booking.id))!
    await world.passUntil(new Date(today.getTime() + 5 * 86_400_000).toISOString(), 240)
    const before = world.textsTo(phone).length
    expect(await settleMove(world.deps, offer.id, true, 'desk')).toBe(true)
    await world.passUntil(new Date(today.getTime() + 6 * 86_400_000).toISOString(), 60)
    expect(world.textsTo(phone).slice(before)).toEqual([])
    expect((await calls(booking.id)).filter(([, outcome]) => outcome === null).map(([reason]) => reason)).toContain(
      'no-consent',
    )
  })
})
