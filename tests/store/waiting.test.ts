import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { lockVisits } from '../../src/flows/patients/follow-patient.ts'
import type { Booking } from '../../src/domain/visits/booking.ts'
import type { Tx } from '../../src/flows/ports/deps.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from './stores.ts'

/**
 * A reply comes in while the desk is changing the very visit: what the desk did counts, not what was read before it.
 */
describe.each(STORES)('on $name, a reply that had to wait for the desk', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let replies = 0

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())

  /** The desk's transaction has the visit locked, the reply comes, and only then the desk's change is made. */
  async function whileChanging(
    { patientId }: Booking,
    from: string,
    text: string,
    change: (tx: Tx) => Promise<unknown>,
  ): Promise<void> {
    const heard: Promise<void>[] = []
    await world.deps.store.transact(async (tx) => {
      await lockVisits(tx, world.deps, [patientId])
      // Not awaited: it cannot end before this does.
      heard.push(
        hearReply(world.deps, { gateway: 'pocket', key: `waits-${replies++}`, from, text, at: world.clock.now() }),
      )
      if (world.composed.database.kind === 'postgres') await somebodyWaits()
      await change(tx)
    })
    await Promise.all(heard)
  }

  async function somebodyWaits(): Promise<void> {
    for (let n = 0; n < 200; n++) {
      const { rows } = await world.composed.database.queue.query(
        `select 1 from pg_stat_activity where wait_event_type = 'Lock' and datname = current_database()`,
      )
      if (rows.length > 0) return
      await new Promise((resolve) => setTimeout(resolve, 25))
    }
    throw new Error('the reply never came to wait')
  }

  it('is about no visit any more when that was cancelled', async () => {
    const { booking } = await world.book({ visit: '2026-03-17T09:00' })
    await world.openings('2026-03-19T09:00')
    await whileChanging(booking, '+17825550101', 'I cannot come that day', (tx) =>
      tx.bookings.update({ ...booking, state: 'cancelled' }),
    )
    expect(await world.deps.store.read.offers.pending(booking.id)).toBeUndefined()
    expect(await world.reasons()).toContain('unclear-reply')
  })

  it('adds to what the desk wrote down about the patient meanwhile', async () => {
    const { booking, patient } = await world.book({
      name: 'Marit Quillon',
      phone: '782 555 0102',
      visit: '2026-03-18T09:00',
      cycle: { status: 'cycling', lmp: '2026-02-09', usualCycleDays: 28 },
    })
    const cycle = { ...patient.cycle, usualCycleDays: 33 }
    await whileChanging(booking, '+17825550102', 'my period started today', (tx) =>
      tx.patients.update(patient.id, { cycle }),
    )
    expect((await world.deps.store.read.patients.get(patient.id))!.cycle).toMatchObject({
      usualCycleDays: 33,
      lmp: '2026-03-09',
    })
  })
})
