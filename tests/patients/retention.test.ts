import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openGatewayMemory } from '../../src/adapters/db/gateway-memory.ts'
import { BECAUSE } from '../../src/domain/visits/outcome.ts'
import { closeFollowUp } from '../../src/flows/calls/close-follow-up.ts'
import { recordOutcome } from '../../src/flows/visits/record-outcome.ts'
import { retain, retainDaily } from '../../src/flows/patients/retention.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'
import type { TestWorld } from '../harness/world.ts'

// Own rule: whatever the settings were before, what is older than they are now is gone, and nothing is cleared twice.
// The settings' own meaning: README.
const LONG = { cycleDays: 200, textDays: 200, auditDays: 2557 }
const SHORT = { cycleDays: 20, textDays: 30, auditDays: 2557 }
const PHONE = '+17825550101'

describe.each(STORES)('retention whose settings change, on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let bookingId: string
  let patientId: string
  const on = (date: string) => world.clock.moveTo(new Date(`${date}T13:00:00Z`))
  const words = async () =>
    (await world.deps.store.read.messages.ofBooking(bookingId)).filter(({ text }) => text !== null)
  const replies = () => world.deps.store.read.replies.fromPhone(PHONE, new Date(0))
  const patient = async () => (await world.deps.store.read.patients.get(patientId))!

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    const { booking } = await world.book({ visit: '2026-03-25T09:00', phone: PHONE })
    ;({ id: bookingId, patientId } = booking)
    await world.passUntil('2026-03-20T15:00:00Z', 240)
    await world.reply(PHONE, 'my period started yesterday')
    await world.passUntil('2026-03-26T15:00:00Z', 240)
    await on('2026-06-01')
    await retain(world.deps, LONG)
  })
  afterAll(() => opened.close())

  it('clears at once what a lowered setting makes too old, and says how much', async () => {
    expect((await words()).length).toBeGreaterThan(1)
    expect(await retainDaily(world.deps, LONG)).toBeNull()
    const cleared = (await retainDaily(world.deps, SHORT))!
    expect(await words()).toEqual([])
    expect(await replies()).toEqual([])
    expect((await patient()).cycle).toEqual({ status: 'unknown' })
    expect(cleared.messages).toBeGreaterThan(1)
    expect(cleared).toMatchObject({ cycles: 1, readings: 1, replies: 1 })
    const [run] = await world.deps.access.read.retention.runs(1)
    expect(run).toEqual({ at: world.clock.now(), counts: cleared })
    expect(await retainDaily(world.deps, SHORT)).toBeNull()
  })

  it('goes on with the others where a setting was raised, and clears nothing twice', async () => {
    await on('2026-06-02')
    const cleared = (await retainDaily(world.deps, LONG))!
    expect([cleared.cycles, cleared.readings, cleared.messages, cleared.followUps]).toEqual([0, 0, 0, 0])
    const { retention } = world.deps.access.read
    expect((await retention.clearedTo()).get('messages')).toEqual(new Date('2026-05-02T13:00:00Z'))
    expect((await retention.clearedTo()).get('sessions')).toEqual(new Date('2026-06-01T13:00:00Z'))
  })

  it('looks through everything where it is not known up to where it was cleared, and counts what it changed', async () => {
    await world.composed.database.records.query('delete from retention_mark')
    const cleared = (await retainDaily(world.deps, SHORT))!
    expect([cleared.cycles, cleared.readings, cleared.messages]).toEqual([0, 0, 0])
  })

  it('leaves alone what is known for a visit that was booked after the clearing', async () => {
    const cycle = { status: 'cycling', lmp: '2026-05-28' } as const
    await world.book({ visit: '2026-06-20T09:00', phone: PHONE, cycle })
    await retain(world.deps, SHORT)
    await world.composed.database.records.query('delete from retention_mark')
    await retain(world.deps, SHORT)
    expect((await patient()).cycle.lmp).toBe('2026-05-28')
    await on('2026-07-12')
    expect((await retain(world.deps, SHORT)).cycles).toBe(1)
    expect((await patient()).cycle).toEqual({ status: 'unknown' })
  })

  it('forgets parts of texts whose receipts never came, once no peer would still deliver them', async () => {
    const { sentParts } = openGatewayMemory(world.composed.database, world.composed.vault)
    const at = new Date(world.clock.now())
    await sentParts.accepted({ gateway: 'centre', ref: '17', sending: 's', messageId: 'm_17', parts: 2, at })
    const after = async (days: number) => {
      await world.clock.moveTo(new Date(at.getTime() + days * 86_400_000))
      return (await retainDaily(world.deps, LONG))!.sentParts
    }
    expect([await after(9), await after(10), await after(11)]).toEqual([0, 1, 0])
  })
})

describe.each(STORES)('what is told after the last visit was cleared, on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let bookingId: string
  let patientId: string
  const read = () => world.deps.store.read
  const everything = async () => {
    const [patient, booking, replies, calls] = await Promise.all([
      read().patients.get(patientId),
      read().bookings.get(bookingId),
      read().replies.fromPhone(PHONE, new Date(0)),
      read().followUps.list({ bookingId, limit: 20 }),
    ])
    const others = await read().followUps.list({ clinicId: 'harbour', limit: 20 })
    return { cycle: patient!.cycle, because: booking!.outcome?.because, replies, calls: [...calls, ...others] }
  }

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    ;({ id: bookingId, patientId } = (await world.book({ visit: '2026-03-25T09:00', phone: PHONE })).booking)
    await world.clock.moveTo(new Date('2026-06-01T13:00:00Z'))
    await retain(world.deps, SHORT)
  })
  afterAll(() => opened.close())

  it('by text is no date on record, and what was read in it and asked because of it does not stay', async () => {
    await world.reply(PHONE, 'my period started today')
    const told = await everything()
    expect(told.cycle).toEqual({ status: 'unknown' })
    expect(told.replies).toHaveLength(1)
    for (const { id, closedAt } of told.calls) if (!closedAt) await closeFollowUp(world.deps, id, 'desk', 'called')
    await world.clock.moveTo(new Date('2026-06-23T13:00:00Z'))
    await retain(world.deps, SHORT)
    const kept = await everything()
    expect(kept.replies.map(({ reading }) => reading)).toEqual([null])
    expect(kept.calls.map(({ detail, phone }) => [detail, phone])).toEqual(kept.calls.map(() => [{}, null]))
    await world.clock.moveTo(new Date('2026-07-03T13:00:00Z'))
    await retain(world.deps, SHORT)
    expect((await everything()).replies).toEqual([])
  })

  it('of how the visit ended does not stay for ever either', async () => {
    const said = { kind: 'not-collected', because: BECAUSE[0], by: 'clinician' } as const
    await recordOutcome(world.deps, bookingId, said)
    expect((await everything()).because).toBe(BECAUSE[0])
    await world.clock.moveTo(new Date('2026-07-24T13:00:00Z'))
    expect(await retain(world.deps, SHORT)).toMatchObject({ cycles: 1 })
    const { outcome } = (await read().bookings.get(bookingId))!
    expect(outcome).toMatchObject({ kind: 'not-collected', because: null })
    await world.clock.moveTo(new Date('2026-07-26T13:00:00Z'))
    expect(await retain(world.deps, SHORT)).toMatchObject({ cycles: 0 })
  })
})

describe.each(STORES.slice(1))('retention that meets a booking, on $name', ({ open }) => {
  it('waits for it, and leaves the patient alone', async () => {
    const opened = await open('2026-03-09T13:00:00Z')
    const { world } = opened
    const { patientId } = (await world.book({ visit: '2026-03-25T09:00', phone: PHONE })).booking
    await world.clock.moveTo(new Date('2026-06-01T13:00:00Z'))
    const { store } = world.deps
    const clearing = await store.transact(async (tx) => {
      await tx.patients.lock([patientId])
      const [before] = await tx.bookings.list({ patientIds: [patientId], limit: 1 })
      const meanwhile = { done: retain(world.deps, SHORT) }
      await waitingFor(world, 1)
      await tx.bookings.insert({ ...before!, id: 'b_later', visitAt: new Date('2026-06-20T13:00:00Z') })
      return meanwhile
    })
    expect((await clearing.done).cycles).toBe(0)
    expect((await store.read.patients.get(patientId))!.cycle.lmp).toBe('2026-03-02')
    await opened.close()
  })
})

/** Until so many statements wait for a lock. */
async function waitingFor({ composed }: TestWorld, count: number): Promise<void> {
  for (;;) {
    const { rows } = await composed.database.records.query(
      "select count(*)::integer as n from pg_stat_activity where wait_event_type = 'Lock' and datname = current_database()",
    )
    if (Number(rows[0]!.n) >= count) return
  }
}
