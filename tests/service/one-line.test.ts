import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Gateway, Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { createSender, sendMessage } from '../../src/flows/messages/send-message.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { SOON } from '../harness/patience.ts'
import { TestWorld } from '../harness/world.ts'

const LINE = 'line'
const PHONE = '+17825550142'

/** A trunk as the service sees it: somebody picks up, and what came of the call is told when it is over. */
class Trunk implements Gateway {
  readonly name = LINE
  readonly channels = ['voice'] as const
  readonly onUnknown = 'ask-desk' as const
  readonly calls: Outgoing[] = []
  start = async () => {}
  stop = async () => {}
  send = async (message: Outgoing): Promise<SendOutcome> => {
    this.calls.push(message)
    return { kind: 'accepted' }
  }
}

describe('calls to one number', () => {
  const trunk = new Trunk()
  let world: TestWorld
  let ids: string[]
  const over = (messageId: string) =>
    takeReceipt(world.deps, { gateway: LINE, messageId, state: 'delivered', code: 'heard', at: world.clock.now() })
  const later = (minutes: number) => world.clock.moveTo(new Date(world.clock.now().getTime() + minutes * 60_000))
  const called = () => trunk.calls.map(({ id }) => id)

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [trunk]) // 10:00 in Halifax
    await world.putClinic({ gateway: LINE })
    // Three visits of one household by one telephone: their confirmations are due this moment.
    const patient = { phone: PHONE, channel: 'voice', cycle: { status: 'no-periods' } } as const
    const visits = ['2026-03-24T09:00', '2026-03-25T09:00', '2026-03-26T09:00']
    const booked = []
    for (const [n, visit] of visits.entries())
      booked.push(await world.book({ visit, name: `Ada Fenwick ${n}`, ...patient }))
    const all = await Promise.all(booked.map(({ booking }) => world.deps.store.read.messages.ofBooking(booking.id)))
    ids = all.map((messages) => messages.find(({ kind }) => kind === 'confirmation')!.id)
  })
  afterAll(() => world.close())

  it(
    'that are due together are made one after another, by whichever worker',
    async () => {
      const jobs = await world.deps.store.read.dispatch.overdue(new Date(world.clock.now().getTime() + 1), 10)
      expect(jobs.map(({ messageId }) => messageId).sort()).toEqual([...ids].sort())
      // Two workers: one decides about two of them at once, the other about the third.
      const sender = createSender(world.deps, (ms) => new Promise((resume) => setTimeout(resume, ms)))
      await Promise.all([...jobs.slice(0, 2).map((job) => sender.send(job)), sendMessage(world.deps, jobs[2]!)])
      await sender.stop()
      expect(called()).toHaveLength(1)
    },
    SOON.timeout * 4,
  )

  it('wait as long as the call before them goes on, and then go out as a first call', async () => {
    await later(5)
    expect(called()).toHaveLength(1)
    await over(called()[0]!)
    await later(2)
    expect(called()).toHaveLength(2)
    await over(called()[1]!)
    await later(2)
    expect([...called()].sort()).toEqual([...ids].sort())
    // Waiting is no call in vain: three of those would end a message.
    for (const id of ids) expect((await world.deps.store.read.messages.get(id))!.attempt).toBe(1)
  })

  it('do not wait for ever for a call that nobody tells the end of', async () => {
    const { booking } = await world.book({
      visit: '2026-03-27T09:00',
      name: 'Ada Fenwick 4',
      phone: PHONE,
      channel: 'voice',
    })
    await later(5)
    expect(called()).toHaveLength(3)
    await later(8)
    expect(called()).toHaveLength(4)
    expect((await world.deps.store.read.messages.get(called()[3]!))!.bookingId).toBe(booking.id)
  })
})
