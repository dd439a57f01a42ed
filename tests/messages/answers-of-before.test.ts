import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { resumeSending, stopSending } from '../../src/flows/messages/stop-sending.ts'
import { TestWorld } from '../harness/world.ts'

// Answers that wait while all sending is stopped, and are about a number or a visit of before when it is resumed.
// Invented people.
const ADA = '+17825550101'
const NEW = '+17825550166'
const HAND = { kind: 'person', id: 'n_1', by: 'desk' }

describe('an answer that waits', () => {
  let world: TestWorld
  let id: string
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.openings('2026-03-18T09:00', '2026-03-19T09:00', '2026-03-20T09:00')
    id = (await world.book({ visit: '2026-03-17T10:00', cycle: { status: 'no-periods' } })).booking.id
    await world.passUntil('2026-03-09T13:30:00Z')
  })
  afterEach(() => world.close())

  const stopped = () => stopSending(world.deps, 'region', 'a fault', HAND)
  async function resumed(): Promise<void> {
    await resumeSending(world.deps, 'region', 'send', HAND)
    await world.passUntil('2026-03-09T15:00:00Z', 5)
  }

  it('goes to the new number alone: the times that were on offer to the old one', async () => {
    await stopped()
    await world.reply(ADA, 'I cannot come that day')
    const before = world.textsTo(ADA).length
    await amendBooking(world.deps, id, { patient: { phone: '782 555 0166' }, by: 'desk' })
    await resumed()
    expect(world.textsTo(ADA)).toHaveLength(before)
    expect(world.textsTo(NEW).filter((text) => /open times:/i.test(text))).toHaveLength(1)
    await world.reply(NEW, '1')
    expect((await world.deps.store.read.bookings.get(id))!.visitAt).toEqual(new Date('2026-03-18T12:00:00Z'))
  })

  it('says nothing of a new time when the visit was cancelled meanwhile', async () => {
    await world.reply(ADA, 'I cannot come that day')
    await stopped()
    await world.reply(ADA, '1')
    const before = world.textsTo(ADA).length
    await cancelBooking(world.deps, id, 'desk')
    await resumed()
    const since = world.textsTo(ADA).slice(before)
    expect(since).toEqual([expect.stringMatching(/cancelled/)])
    expect(since[0]).not.toMatch(/now on/)
  })

  it('says nothing of a time that is the visit’s no more', async () => {
    await world.reply(ADA, 'I cannot come that day')
    await stopped()
    await world.reply(ADA, '1')
    await amendBooking(world.deps, id, { visit: '2026-03-25T10:00', by: 'desk' })
    const before = world.textsTo(ADA).length
    await resumed()
    const since = world
      .textsTo(ADA)
      .slice(before)
      .filter((text) => /now on/.test(text))
    expect(since).toHaveLength(1)
    expect(since[0]).toMatch(/Mar 25/)
  })

  it('that mattered becomes a person’s when the number wants no messages by then', async () => {
    await world.reply(ADA, 'I cannot come that day')
    await stopped()
    await world.reply(ADA, '1')
    await world.reply(ADA, 'STOP')
    expect(await world.reasons()).toContain('not-delivered')
  })
})

describe('a job that hangs', () => {
  it('does not keep its message from going out: the sweep enqueues another one', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    const { booking } = await world.book({ visit: '2026-03-17T10:00', cycle: { status: 'no-periods' } })
    const prep = (await world.deps.store.read.messages.ofBooking(booking.id)).find(({ kind }) => kind === 'prep')
    const { id: messageId, revision, attempt, sendAt } = prep!
    // As by a clock that jumped: it will come, but too late.
    await world.deps.queue.enqueue([{ messageId, revision, attempt, at: new Date('2026-03-20T13:00:00Z') }])
    await world.passUntil(new Date(sendAt.getTime() + 3_600_000).toISOString(), 30)
    expect(world.textsTo(ADA).filter((text) => /no sex/i.test(text))).toHaveLength(1)
    await world.close()
  })
})
