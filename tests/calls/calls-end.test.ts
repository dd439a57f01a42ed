import { opening } from '../../src/domain/visits/slot.ts'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { FollowUp } from '../../src/domain/calls/follow-up.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { TestWorld } from '../harness/world.ts'

// When a call ends by itself, stays, or is not opened a second time: rules of the product, no source.
// Invented people; the clinic's texts go out from nine to eight, Halifax time (UTC-3).
let world: TestWorld
let people = 10
const NO_PERIODS = { status: 'no-periods' } as const

beforeAll(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z')
})
afterAll(() => world.close())

function somebody() {
  const phone = `782 555 01${++people}`
  const e164 = `+1${phone.replaceAll(' ', '')}`
  return { name: `Nobody ${people}`, phone, e164, clinician: `list ${people}` }
}

type Who = ReturnType<typeof somebody>

async function book({ e164: _, ...who }: Who, changes: Omit<Parameters<TestWorld['book']>[0], 'name' | 'phone'>) {
  return (await world.book({ ...who, ...changes })).booking
}

async function callsOf(bookingId: string, open = true): Promise<FollowUp[]> {
  return world.deps.store.read.followUps.list({ bookingId, open, limit: 50 })
}

const reasonsOf = async (bookingId: string) => (await callsOf(bookingId)).map(({ reason }) => reason).sort()

const later = (minutes: number) =>
  world.passUntil(new Date(world.clock.now().getTime() + minutes * 60_000).toISOString(), 5)

const callsAt = async (phone: string) =>
  (await world.deps.store.read.followUps.list({ open: true, limit: 200 })).filter((each) => each.phone === phone)

describe('the calls about a visit that is cancelled', () => {
  it('end, but for alarms and words that nobody has read', async () => {
    const who = somebody()
    const { id } = await book(who, { visit: '2026-03-25T10:00', consent: null, cycle: NO_PERIODS })
    await world.reply(who.e164, 'is the green kettle yours?')
    await world.reply(who.e164, 'I am bleeding heavily and feel faint')
    expect(await reasonsOf(id)).toEqual(['alarm', 'no-consent', 'unclear-reply'])
    await cancelBooking(world.deps, id, 'desk')
    expect(await reasonsOf(id)).toEqual(['alarm', 'unclear-reply'])
  })

  it('end where the patient wants no messages', async () => {
    const who = somebody()
    const { id } = await book(who, { visit: '2026-03-25T10:00', cycle: NO_PERIODS })
    await world.reply(who.e164, 'STOP')
    expect(await reasonsOf(id)).toEqual(['opted-out'])
    await cancelBooking(world.deps, id, 'desk')
    expect(await reasonsOf(id)).toEqual([])
  })

  it('are not begun by a text about it that comes back undelivered', async () => {
    const who = somebody()
    const { id } = await book(who, { visit: '2026-03-25T11:00', cycle: NO_PERIODS })
    await later(10)
    world.pocket.behave(who.e164, { fate: 'undelivered', receiptAfterMs: 1_200_000, times: 1 })
    await amendBooking(world.deps, id, { visit: '2026-03-26T11:00', by: 'desk' })
    await later(5)
    expect(await world.kindsOf(id, 'sent')).toContain('moved')
    await cancelBooking(world.deps, id, 'desk')
    await later(60)
    expect(await world.kindsOf(id, 'undelivered')).toContain('moved')
    expect(await reasonsOf(id)).toEqual([])
  })
})

describe('the call to approve a move', () => {
  let who: Who
  let id: string

  async function choose() {
    who = somebody()
    await world.putClinic({ movePolicy: 'desk-approves' })
    const { clinician } = who
    await world.deps.store.transact(async (tx) => {
      for (const day of ['16', '17', '18']) {
        const startsAt = new Date(`2026-03-${day}T12:${people}:00Z`)
        const place = { id: world.deps.newId('o'), clinicId: 'harbour', clinician, startsAt }
        await tx.slots.add([opening(place)])
      }
    })
    id = (await book(who, { visit: '2026-03-25T12:00', cycle: NO_PERIODS })).id
    await world.reply(who.e164, "I can't come that day")
    await world.reply(who.e164, '1')
    expect(await reasonsOf(id)).toEqual(['approve-move'])
  }

  const chosen = async () => (await world.deps.store.read.offers.pending(id))!

  it('ends when the desk declines, under the name of whoever did', async () => {
    await choose()
    await settleMove(world.deps, (await chosen()).id, false, 'Bea at the desk')
    expect(await reasonsOf(id)).toEqual(['cannot-come'])
    const [closed] = await callsOf(id, false)
    const end = { reason: 'approve-move', outcome: 'move declined', closedBy: 'Bea at the desk' }
    expect(closed).toMatchObject(end)
  })

  it('ends when the desk approves', async () => {
    await choose()
    await settleMove(world.deps, (await chosen()).id, true, 'desk')
    expect(await reasonsOf(id)).not.toContain('approve-move')
  })

  it('ends when the choice has lapsed: nothing can be approved any more', async () => {
    await choose()
    const { until } = await chosen()
    await world.clock.moveTo(new Date(until.getTime() + 60_000))
    await later(10)
    expect(await reasonsOf(id)).toContain('offer-lapsed')
    expect(await reasonsOf(id)).not.toContain('approve-move')
  })
})

describe('a wrong number', () => {
  it('is one call, however often it is told', async () => {
    const { e164 } = somebody()
    for (let times = 0; times < 5; times++) await world.reply(e164, 'wrong number')
    expect((await callsAt(e164)).map(({ reason }) => reason)).toEqual(['wrong-person'])
  })

  it('of a patient without a visit is no call any more once a person has read it otherwise', async () => {
    const who = somebody()
    const { id } = await book(who, { visit: '2026-04-25T10:00', cycle: NO_PERIODS })
    await cancelBooking(world.deps, id, 'desk')
    // The patient has heard of that: else somebody would have to tell.
    await later(10)
    await world.reply(who.e164, 'wrong number')
    expect((await callsAt(who.e164)).map(({ reason }) => reason)).toEqual(['wrong-person'])
    const [reply] = await world.deps.store.read.replies.fromPhone(who.e164, new Date(0))
    await correctReading(world.deps, reply!.id, { meaning: 'help', by: 'desk' })
    expect(await callsAt(who.e164)).toEqual([])
  })
})

describe('a move to a time that is too near for the full preparation', () => {
  let night: TestWorld
  beforeAll(async () => {
    night = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => night.close())

  it('leaves the call to ask about it at the visit', async () => {
    await night.putClinic({ movePolicy: 'desk-approves' })
    await night.openings('2026-03-13T22:00')
    const visit = { visit: '2026-03-25T10:00', cycle: NO_PERIODS }
    const { booking } = await night.book(visit)
    await night.passUntil('2026-03-11T13:00:00Z', 120)
    await night.reply('+17825550101', "I can't come that day")
    await night.reply('+17825550101', '1')
    // Half past nine in the evening: before ten, when preparation begins, no text may go out any more.
    await night.passUntil('2026-03-12T00:30:00Z', 120)
    const { read } = night.deps.store
    const offer = (await read.offers.pending(booking.id))!
    await settleMove(night.deps, offer.id, true, 'desk')
    const moved = (await read.bookings.get(booking.id))!
    expect(moved).toMatchObject({ visitAt: new Date('2026-03-14T01:00:00Z'), shortNotice: true })
    const calls = await read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })
    expect(calls.map(({ reason }) => reason)).toContain('short-notice')
  })
})

describe('news of a cycle that spoils another visit of the patient', () => {
  // Next period about 26 March or about 9 April; 10 April is the middle of a cycle, or its beginning.
  const before = (now: string) => ({ status: 'cycling', lmp: now, usualCycleDays: 28 }) as const
  let spoilt: TestWorld
  let first: { id: string }
  beforeAll(async () => {
    spoilt = await TestWorld.create('2026-03-13T13:00:00Z')
  })
  afterAll(() => spoilt.close())

  const book = async (name: string, phone: string, visit: string, lmp: string) =>
    (await spoilt.book({ name, phone, visit, cycle: before(lmp), clinician: name + visit })).booking
  const reasons = async () =>
    (await spoilt.deps.store.read.followUps.list({ bookingId: first.id, open: true, limit: 50 })).map(
      ({ reason }) => reason,
    )

  it('is a call when a second visit is booked with it', async () => {
    first = await book('Ada Fenwick', '782 555 0101', '2026-04-10T10:00', '2026-02-26')
    await book('Ada Fenwick', '782 555 0101', '2026-03-27T10:00', '2026-02-26')
    expect(await reasons()).toEqual([])
    await book('Ada Fenwick', '782 555 0101', '2026-03-28T10:00', '2026-03-12')
    expect(await reasons()).toEqual(['badly-timed'])
  })

  it('and when the desk enters it at another visit', async () => {
    first = await book('Bea Lowther', '782 555 0102', '2026-04-10T10:00', '2026-02-26')
    const other = await book('Bea Lowther', '782 555 0102', '2026-03-27T10:00', '2026-02-26')
    expect(await reasons()).toEqual([])
    await amendBooking(spoilt.deps, other.id, { cycle: before('2026-03-12'), by: 'desk' })
    expect(await reasons()).toEqual(['badly-timed'])
  })
})
