import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Message } from '../../src/domain/messages/message.ts'
import { claimDue } from '../../src/flows/messages/claim-messages.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { heldOpen, waitsOrEnds } from '../harness/held-open.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'
import { Wire } from '../messages/wire.ts'

// A plan is made anew at the very moment at which its message is claimed, or comes back undelivered. What must hold:
// told once, or on the call list. Invented people. The embedded database has one session, so it takes a server.
const server = serverAddress('TEST_DATABASE_URL')

describe.skipIf(!server)('while a plan is made anew', () => {
  let database: FreshDatabase
  let world: TestWorld
  let wire: Wire
  let people = 10
  beforeAll(async () => {
    database = await freshDatabase(server!)
    wire = new Wire()
    world = await TestWorld.create('2026-03-09T13:00:00Z', database.url, [wire])
    await world.putClinic({ gateway: 'wire' })
  })
  afterAll(async () => {
    await world.close()
    await database.drop()
  })

  const book = (visit: string) =>
    world.book({ name: `Patient ${++people}`, phone: `782 555 01${people}`, visit, cycle: { status: 'no-periods' } })
  const prepsOf = async ({ booking }: Booked) =>
    (await world.deps.store.read.messages.ofBooking(booking.id)).filter(({ kind }) => kind === 'prep')
  const jobFor = ({ id, revision, attempt, sendAt }: Message) => ({ messageId: id, revision, attempt, at: sendAt })
  const correctName = ({ booking }: Booked, deps = world.deps) =>
    amendBooking(deps, booking.id, { patient: { name: `Patient ${people} Corrected` }, by: 'desk' })

  it('a claim that is committed meanwhile is not planned a second time', async () => {
    const booked = await book('2026-03-17T10:00')
    const [prep] = await prepsOf(booked)
    await world.deps.store.transact((tx) =>
      tx.messages.move(prep!.id, ['planned', 'queued'], 'queued', { sendAt: world.clock.now() }),
    )
    const held = heldOpen(world.deps)
    const worker = { ...world.deps.worker, inFlight: new Set<string>() }
    const claimed = held.deps.store.transact((tx) =>
      claimDue(tx, { ...held.deps, worker }, [jobFor(prep!)], { keys: [], turns: [] }),
    )
    await held.reached
    const amended = correctName(booked)
    await waitsOrEnds(world, amended)
    held.letGo()
    await Promise.all([claimed, amended])
    expect((await prepsOf(booked)).map(({ state }) => state)).toEqual(['sending'])
  })

  it('a receipt that says undelivered is followed by a call, or by a person’s', async () => {
    const booked = await book('2026-03-17T10:20')
    const consent = {
      channel: 'voice',
      recordedBy: 'desk',
      recordedAt: world.clock.now(),
      wording: 'May we call you?',
    } as const
    await world.deps.store.transact((tx) => tx.patients.addConsent(booked.patient.id, consent))
    await world.passUntil('2026-03-14T23:30:00Z', 240)
    const [prep] = await prepsOf(booked)
    expect(prep!.state).toBe('sent')
    const held = heldOpen(world.deps)
    const amended = correctName(booked, held.deps)
    await held.reached
    const told = takeReceipt(world.deps, {
      gateway: 'wire',
      messageId: prep!.id,
      state: 'undelivered',
      at: world.clock.now(),
    })
    await waitsOrEnds(world, told)
    held.letGo()
    await Promise.all([amended, told])
    await world.passUntil('2026-03-15T12:30:00Z', 30)
    const calls = (
      await world.deps.store.read.followUps.list({ bookingId: booked.booking.id, open: true, limit: 9 })
    ).filter(({ reason }) => reason === 'not-delivered')
    const byVoice = (await prepsOf(booked)).filter(({ channel, state }) => channel === 'voice' && state === 'sent')
    expect(calls.length + byVoice.length).toBe(1)
  })
})
