import fc from 'fast-check'
import { DateTime, Interval } from 'luxon'
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { overlap, overlapping, type Occupied } from '../../src/domain/visits/duration.ts'
import { addOpenings, listOpenings } from '../../src/flows/visits/manage-openings.ts'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { judgeBooking } from '../../src/flows/visits/judge-booking.ts'
import { loadVisit } from '../../src/flows/lookups.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

const START = DateTime.fromISO('2026-03-20T09:00', { zone: 'America/Halifax' })

describe('whether two visits overlap', () => {
  const visits = fc.array(
    fc.record({
      clinician: fc.constantFrom('', 'room 2'),
      at: fc.integer({ min: 0, max: 120 }),
      minutes: fc.integer({ min: 5, max: 60 }),
    }),
    { maxLength: 12 },
  )
  const visit = ({ clinician, at, minutes }: { clinician: string; at: number; minutes: number }, n: number) => ({
    id: `b_${n}`,
    clinicId: 'harbour',
    clinician,
    visitAt: START.plus({ minutes: at }).toJSDate(),
    minutes,
  })
  // Referee: luxon's Interval, half-open as visits are.
  const interval = ({ visitAt, minutes }: Occupied) => Interval.after(visitAt, { minutes })
  const byLuxon = (a: Occupied, b: Occupied) => a.clinician === b.clinician && interval(a).overlaps(interval(b))

  it('is what luxon says of their intervals, for one clinician', () => {
    fc.assert(
      fc.property(visits, (told) => {
        const all = told.map(visit)
        for (const a of all) for (const b of all) expect(overlap(a, b)).toBe(byLuxon(a, b))
        const crowded = all.filter((a) => all.some((b) => a !== b && byLuxon(a, b))).map(({ id }) => id)
        expect([...overlapping(all)].sort()).toEqual(crowded.sort())
      }),
    )
  })
})

describe.each(STORES)('on $name, a clinician', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let day = 0
  let people = 0

  beforeAll(async () => {
    opened = await open('2026-03-02T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())
  beforeEach(() => void day++)

  /** On a day of its own for each test. */
  const at = (clock: string) => `${START.plus({ days: day }).toISODate()}T${clock}`
  const book = (clock: string, more: object = {}) => {
    const n = String(people++).padStart(2, '0')
    return world.book({ name: `Patient ${n}`, phone: `782 555 01${n}`, visit: at(clock), minutes: 20, ...more })
  }
  const refused = { code: 'time-taken' }
  const openings = async (minutes: number | undefined, ...clocks: string[]) =>
    (await addOpenings(world.deps, { clinic: 'harbour', at: clocks.map(at), minutes })).added
  const clock = (date: Date) => DateTime.fromJSDate(date, { zone: 'America/Halifax' }).toFormat('HH:mm')
  const listed = async () => {
    const from = START.plus({ days: day }).startOf('day')
    const interval = { from: from.toJSDate(), to: from.plus({ days: 1 }).toJSDate(), limit: 50 }
    return (await listOpenings(world.deps, { clinicId: 'harbour', ...interval })).map(({ startsAt }) => clock(startsAt))
  }

  it('has one patient at a time: what begins during a visit, or ends in it, is refused', async () => {
    await book('10:00')
    for (const overlapping of ['10:19', '10:00', '09:41'])
      await expect(book(overlapping)).rejects.toMatchObject(refused)
    await expect(book('09:55', { minutes: 120 })).rejects.toMatchObject(refused)
    await expect(book('10:20')).resolves.toBeDefined()
    await expect(book('09:40')).resolves.toBeDefined()
  })

  it('is not busy with another one’s patients', async () => {
    await book('10:00')
    await expect(book('10:05', { clinician: 'room 2' })).resolves.toBeDefined()
  })

  it('is overbooked only on purpose, and busy with both then', async () => {
    await book('10:00')
    const beside = await book('10:10', { overbook: true })
    await expect(book('10:25')).rejects.toMatchObject(refused)
    await expect(book('10:00', { overbook: true })).resolves.toBeDefined()
    await cancelBooking(world.deps, beside.booking.id, 'desk')
    await expect(book('10:25')).resolves.toBeDefined()
    // A time that was only ever overbooked is no opening afterwards.
    expect(await listed()).toEqual([])
  })

  it('whose patient does not come after all has that time free again', async () => {
    const { booking } = await book('10:00')
    await openings(undefined, '10:10')
    expect(await listed()).toEqual([])
    await cancelBooking(world.deps, booking.id, 'desk')
    expect(await listed()).toEqual(['10:00', '10:10'])
  })

  it('is held by the database itself to one patient at a time', async () => {
    await book('10:00')
    const { booking } = await book('12:00')
    const strayed = world.composed.database.records.query(
      `insert into slot (id, clinic_id, clinician, starts_at, state, booking_id, ends_at)
       values ('o_stray', 'harbour', '', $1, 'taken', $2, $3)`,
      [new Date(`${at('10:05')}:00-03:00`), booking.id, new Date(`${at('10:15')}:00-03:00`)],
    )
    // PostgreSQL, Appendix A: 23P01 exclusion_violation.
    await expect(strayed).rejects.toMatchObject({ code: '23P01' })
  })

  it('gets one of many who ask at once for times that overlap; the others are told', async () => {
    const tries = await Promise.allSettled(
      Array.from({ length: 12 }, (_, n) => book(`10:${String(n).padStart(2, '0')}`, { clinician: 'room 3' })),
    )
    expect(tries.filter(({ status }) => status === 'fulfilled')).toHaveLength(1)
    const refusals = tries.flatMap((each) => (each.status === 'rejected' ? [each.reason.code] : []))
    expect(refusals).toEqual(Array.from({ length: 11 }, () => 'time-taken'))
  })

  it('lasts as long as clinic or protocol say, where the booking does not', async () => {
    const usual = await book('10:00', { minutes: undefined })
    expect(usual.booking.minutes).toBe(10)
    await world.putClinic({ visitMinutes: 30 })
    const here = await book('10:10', { minutes: undefined })
    await world.putClinic({ visitMinutes: null })
    expect(here.booking.minutes).toBe(30)
    await expect(book('10:30', { minutes: 5 })).rejects.toMatchObject(refused)
  })

  it('is offered to nobody for longer than there is room', async () => {
    const { booking } = await book('16:00')
    await book('10:30')
    const times = await openings(undefined, '10:00', '10:15', '10:40', '11:00')
    await openings(10, '12:00')
    await openings(20, '13:00')
    const about = await loadVisit(world.deps.store.read, booking)
    const { openings: chosen } = await judgeBooking(world.deps.store.read, world.deps, about, { mustMove: true })
    const offered = chosen.map(({ opening }) => clock(opening.startsAt))
    expect(times).toHaveLength(4)
    for (const tooShort of ['10:15', '10:40', '12:00']) expect(offered).not.toContain(tooShort)
    const free = await world.deps.store.read.slots.list({
      clinicId: 'harbour',
      from: START.plus({ days: day }).startOf('day').toJSDate(),
      to: START.plus({ days: day + 1 })
        .startOf('day')
        .toJSDate(),
      states: ['free'],
      fits: { visit: booking, now: world.clock.now() },
      limit: 50,
    })
    expect(free.map(({ startsAt }) => clock(startsAt))).toEqual(['10:00', '11:00', '13:00'])
  })

  it('is kept free for whoever a time is held for, until the hold ends', async () => {
    const { booking } = await book('16:00')
    const [opening] = await openings(undefined, '10:00')
    const until = new Date(world.clock.now().getTime() + 60_000)
    await world.deps.store.transact((tx) => tx.slots.hold(opening!.id, booking, until, world.clock.now()))
    await expect(book('10:10')).rejects.toMatchObject(refused)
    await world.clock.moveTo(new Date(until.getTime() + 1000))
    await expect(book('10:10')).resolves.toBeDefined()
  })

  it('keeps a visit as it was, where a longer one would not fit', async () => {
    const { booking } = await book('10:00')
    await book('10:20')
    const longer = amendBooking(world.deps, booking.id, { minutes: 30, by: 'desk' })
    await expect(longer).rejects.toMatchObject(refused)
    expect((await world.deps.store.read.bookings.get(booking.id))!.minutes).toBe(20)
    await amendBooking(world.deps, booking.id, { minutes: 30, overbook: true, by: 'desk' })
    expect((await world.deps.store.read.bookings.get(booking.id))!.minutes).toBe(30)
    await amendBooking(world.deps, booking.id, { minutes: 15, by: 'desk' })
    await expect(book('10:15', { minutes: 5 })).resolves.toBeDefined()
  })

  it('may be moved to a time that overlaps the patient’s own', async () => {
    const { booking } = await book('10:00')
    const moved = await amendBooking(world.deps, booking.id, { visit: at('10:10'), by: 'desk' })
    expect(clock(moved.booking.visitAt)).toBe('10:10')
  })
})

describe.each(STORES)('on $name, an offer', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())

  it('is not accepted once its time is up, though nobody has noticed yet', async () => {
    const { booking } = await world.book({ visit: '2026-03-25T10:00', cycle: { status: 'no-periods' } })
    await world.openings('2026-03-20T10:00', '2026-03-21T10:00', '2026-03-22T10:00')
    await world.reply('+17825550101', "I can't come that day")
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    await world.clock.moveTo(new Date(offer.until.getTime() + 1000))
    await world.reply('+17825550101', '1')
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
  })
})
