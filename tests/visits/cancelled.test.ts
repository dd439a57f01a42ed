import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// Who is told that a visit is cancelled, and when: own rules, no source. Invented people.
describe('a visit that the desk cancelled', () => {
  let world: TestWorld
  let count = 20
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  const book = async (changes: Partial<Parameters<TestWorld['book']>[0]> = {}) => {
    const { booking, patient } = await world.book({
      visit: `2026-03-25T10:${++count}`,
      phone: `782 555 01${count}`,
      name: `Nobody ${count}`,
      clinician: `room ${count}`,
      cycle: { status: 'no-periods' },
      ...changes,
    })
    return { id: booking.id, phone: patient.phone }
  }
  const cancelled = async (id: string) =>
    (await world.deps.store.read.messages.ofBooking(id)).filter(({ kind }) => kind === 'cancelled')
  const later = () => world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))

  it('is told to the patient once, with the time and the number to call', async () => {
    const { id, phone } = await book()
    await later()
    await cancelBooking(world.deps, id, 'desk')
    await cancelBooking(world.deps, id, 'desk')
    await later()
    expect(world.textsTo(phone).filter((text) => /cancelled/.test(text))).toEqual([
      expect.stringMatching(/^Harbour Clinic: Your visit on .*Mar 25.* is cancelled\. .*Call .*555/),
    ])
  })

  it('is not told to whoever agreed to no messages, nor of a patient reported dead', async () => {
    const silent = await book({ consent: null })
    await cancelBooking(world.deps, silent.id, 'desk')
    const dead = await book()
    const { patientId } = (await world.deps.store.read.bookings.get(dead.id))!
    await world.deps.store.transact(async (tx) => {
      const patient = (await tx.patients.get(patientId))!
      await tx.patients.update(patientId, { ...patient, reportedDead: true })
    })
    await cancelBooking(world.deps, dead.id, 'desk')
    expect([...(await cancelled(silent.id)), ...(await cancelled(dead.id))]).toEqual([])
  })

  it('is told within sending hours, and not at all where it is booked again for the same time before', async () => {
    const again = { visit: '2026-03-26T15:00', name: 'Nobody Twice' }
    const [first, other] = [await book(again), await book({ visit: '2026-03-26T16:00' })]
    await world.passUntil('2026-03-10T01:30:00Z') // 22:30 at the clinic
    await cancelBooking(world.deps, first.id, 'desk')
    await cancelBooking(world.deps, other.id, 'desk')
    expect((await cancelled(first.id)).map(({ state }) => state)).toEqual(['queued'])
    await book({ ...again, phone: first.phone })
    expect((await cancelled(first.id)).map(({ state }) => state)).toEqual(['withdrawn'])
    await world.passUntil('2026-03-10T12:30:00Z')
    expect(world.textsTo(first.phone).join()).not.toMatch(/cancelled/)
    expect(world.textsTo(other.phone).join()).toMatch(/cancelled/)
  })

  it('is left to a person where there is no hour left to tell it', async () => {
    await world.passUntil('2026-03-11T02:00:00Z', 240) // 23:00 at the clinic
    const { id } = await book({ visit: '2026-03-11T08:00' })
    await cancelBooking(world.deps, id, 'desk')
    expect(await cancelled(id)).toEqual([])
    const calls = await world.deps.store.read.followUps.list({ bookingId: id, open: true, limit: 5 })
    expect(calls.map(({ reason, detail }) => [reason, detail.kind])).toEqual([['text-lost', 'cancelled']])
  })

  it('is left to a person where nobody knows whether the notice was sent', async () => {
    await world.passUntil('2026-03-12T14:00:00Z', 240)
    const { id, phone } = await book()
    await later()
    world.pocket.behave(phone, { answer: 'unknown', takes: false })
    await cancelBooking(world.deps, id, 'desk')
    await later()
    expect((await cancelled(id)).map(({ state }) => state)).toEqual(['undelivered'])
    const calls = await world.deps.store.read.followUps.list({ bookingId: id, open: true, limit: 5 })
    expect(calls.map(({ reason, detail }) => [reason, detail.kind])).toEqual([['text-lost', 'cancelled']])
  })
})
