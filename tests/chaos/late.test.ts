import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { sendMessage } from '../../src/flows/messages/send-message.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { TestWorld } from '../harness/world.ts'

const MINUTE = 60_000

/** What comes late: an answer of the database after a machine has slept, a receipt after a message was given up. */
describe('what comes late', () => {
  let world: TestWorld
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  const messageOf = async (bookingId: string) =>
    (await world.deps.store.read.messages.ofBooking(bookingId)).find(({ kind }) => kind === 'confirmation')!
  const handedOver = (id: string) => world.pocket.ledger().filter(({ messageId }) => messageId === id).length

  /**
   * Its claim is committed, and known to it so much later: others may have taken the message over, although it lives.
   */
  const slow = (ms: number): Deps => ({
    ...world.deps,
    store: {
      ...world.deps.store,
      transact: async (work) => {
        const result = await world.deps.store.transact(work)
        await world.clock.moveTo(new Date(world.clock.now().getTime() + ms))
        return result
      },
    },
  })

  async function claimedLate(ms: number, phone: string, visit: string) {
    const { booking } = await world.book({ visit, phone, name: phone })
    const { id, revision, attempt, sendAt } = await messageOf(booking.id)
    await sendMessage(slow(ms), { messageId: id, revision, attempt, at: sendAt })
    return { booking, id, sent: handedOver(id) }
  }

  it('a claim that is known long after it was made is not used, and made anew', async () => {
    const { booking, id, sent } = await claimedLate(5 * MINUTE, '782 555 0111', '2026-03-24T09:00')
    expect(sent).toBe(0)
    expect(await messageOf(booking.id)).toMatchObject({ state: 'queued', code: 'stood-still' })
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(handedOver(id)).toBe(1)
    expect((await messageOf(booking.id)).state).toBe('delivered')
  })

  it('a claim that is known soon is used', async () => {
    expect((await claimedLate(1_000, '782 555 0112', '2026-03-24T10:00')).sent).toBe(1)
  })

  it('a receipt says that it arrived, also where the message had been given up in doubt', async () => {
    const { booking } = await world.book({ visit: '2026-03-24T11:00', phone: '782 555 0113', name: 'Bea Marsh' })
    const { id } = await messageOf(booking.id)
    // It waits to be sent again, since nobody knew whether it had been sent; then the visit is moved, and it is
    // withdrawn.
    await world.deps.store.transact((tx) =>
      tx.messages.move(id, ['planned', 'queued', 'sending', 'sent'], 'queued', {
        attempt: 1,
        sendAt: new Date('2026-03-09T20:00:00Z'),
      }),
    )
    await amendBooking(world.deps, booking.id, { visit: '2026-03-25T11:00', by: 'desk' })
    expect((await messageOf(booking.id)).state).toBe('withdrawn')
    await takeReceipt(world.deps, {
      gateway: 'pocket',
      messageId: id,
      ref: 'pocket-900',
      state: 'delivered',
      at: world.clock.now(),
    })
    expect((await messageOf(booking.id)).state).toBe('delivered')
  })
})
