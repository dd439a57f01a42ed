import { afterEach, describe, expect, it } from 'vitest'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { takeNews } from '../../src/flows/schedule/take-news.ts'
import { previewNews } from '../../src/flows/schedule/preview-news.ts'
import { tryAllWaitingAgain, tryWaitingAgain } from '../../src/flows/schedule/try-waiting-again.ts'
import { wholeDays } from '../../src/domain/schedule/completeness.ts'
import { isSilent } from '../../src/domain/schedule/silence.ts'
import { keyOf, type ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { TestWorld } from '../harness/world.ts'
import { FEED as EXAMPLE, newsAt } from './example-feed.ts'

// Own rules (a third, said once, 24 hours of working days): no source. Times of days by the calendar.
const FEED: Feed = { ...EXAMPLE, usualLanguage: null }
const worlds: TestWorld[] = []
afterEach(async () => {
  for (const world of worlds.splice(0)) await world.close()
})

async function worldOf(): Promise<TestWorld> {
  const world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [], { feeds: [FEED], approved: ['en', 'fr'] })
  await world.putClinic({}, 'ridge')
  worlds.push(world)
  return world
}
const reads = (news: ScheduleNews[]) => news.map((one) => ({ news: [one] }))
const take = (world: TestWorld, ...news: ScheduleNews[]) => takeNews(world.deps, FEED.name, reads(news))
const booked = async (world: TestWorld) =>
  (await world.deps.store.read.bookings.list({ limit: 100, state: 'booked' })).map(({ visitAt }) => visitAt.getTime())
const calls = async (world: TestWorld) =>
  (await world.deps.store.read.followUps.list({ open: true, limit: 100, reasons: ['schedule-unclear'] })).map(
    ({ detail }) => String(detail.why),
  )
const waiting = async (world: TestWorld) => (await world.deps.store.read.feeds.figures(FEED.name, '2026-01-01')).waiting
const say = (world: TestWorld, part: 'clinics' | 'languages', code: string, ours: string) =>
  world.deps.store.transact((tx) => tx.feeds.putCode({ feed: FEED.name, part, code, ours }, world.clock.now()))
const row = (id: number, day = 20, more: Parameters<typeof newsAt>[2] = {}): ScheduleNews => ({
  ...newsAt(id, 'booked', {
    key: { id: `${7000 + id}`, namespace: '', occurrence: '' },
    visit: {
      startsAt: new Date(`2026-03-${day}T${13 + Math.trunc(id / 3)}:${(id % 3) * 20 || '00'}:00Z`),
      ...more.visit,
    },
    patient: {
      ids: [{ value: `000${id}`, authority: 'SKERRY', type: 'MR' }],
      ...{ name: `Ada Fenwick-${id}`, language: 'ENG' },
      phones: [{ number: `782 555 01${10 + id}`, kind: 'mobile' as const }],
      ...more.patient,
    },
  }),
  messageId: '',
})

describe('what waits for a person', () => {
  it('is booked once somebody has said what its place is, and its call is closed', async () => {
    const world = await worldOf()
    await take(world, row(1, 20, { visit: { places: ['GYN9'] } }))
    expect(await waiting(world)).toBe(1)
    expect(await tryWaitingAgain(world.deps, FEED.name)).toEqual({ settled: 0, waiting: 1 })
    expect(await calls(world)).toHaveLength(1)
    await say(world, 'clinics', 'GYN9', 'ridge')
    expect(await tryWaitingAgain(world.deps, FEED.name)).toEqual({ settled: 1, waiting: 0 })
    expect(await booked(world)).toHaveLength(1)
    expect(await calls(world)).toEqual([])
    expect(await waiting(world)).toBe(0)
    const { days } = await world.deps.store.read.feeds.figures(FEED.name, '2026-01-01')
    expect(days.find(({ does }) => does === 'book')).toMatchObject({ count: 1 })
    expect((await take(world, row(1, 20, { visit: { places: ['GYN9'] } })))[0]).toMatchObject({ does: 'nothing' })
  })

  it('and could not be booked is tried again, with its language said', async () => {
    const world = await worldOf()
    await take(world, row(1, 20, { patient: { ids: [], language: 'FRA' } }))
    expect(await waiting(world)).toBe(1)
    await say(world, 'languages', 'FRA', 'fr')
    expect(await tryWaitingAgain(world.deps, FEED.name)).toEqual({ settled: 1, waiting: 0 })
    expect(await booked(world)).toHaveLength(1)
  })

  it('calls nobody again for the same, nor where a person has settled it; for another reason it does', async () => {
    const world = await worldOf()
    const odd = row(1, 20, { visit: { places: ['GYN9'] }, patient: { ids: [], phones: [] } })
    await take(world, odd)
    const before = await calls(world)
    await tryAllWaitingAgain(world.deps)
    expect(await calls(world)).toEqual(before)
    await say(world, 'clinics', 'GYN9', 'ridge')
    await tryAllWaitingAgain(world.deps)
    expect(await calls(world)).toEqual([expect.stringContaining('no telephone number')])
    const [open] = await world.deps.store.read.followUps.list({ open: true, limit: 5, reasons: ['schedule-unclear'] })
    await world.deps.store.transact((tx) => tx.followUps.close(open!.id, 'desk', 'seen', world.clock.now()))
    await tryAllWaitingAgain(world.deps)
    expect(await calls(world)).toEqual([])
    const faults = await world.deps.store.read.feeds.faults(FEED.name, 10)
    expect(faults).toHaveLength(2)
  })

  it('and whose time has passed waits no longer', async () => {
    const world = await worldOf()
    await take(world, row(1, 20, { visit: { places: ['GYN9'] } }))
    await say(world, 'clinics', 'GYN9', 'ridge')
    await world.passUntil('2026-03-21T12:00:00Z', 1440)
    expect(await tryWaitingAgain(world.deps, FEED.name)).toEqual({ settled: 1, waiting: 0 })
    expect(await booked(world)).toEqual([])
  })
})

describe('a preview', () => {
  it('says what taking it does, line by line, and writes nothing', async () => {
    const world = await worldOf()
    await take(world, row(1), row(2), row(3, 20, { visit: { places: ['GYN9'] } }))
    const file = reads([
      row(1),
      { ...row(2), event: 'cancelled' },
      row(4),
      row(3, 20, { visit: { places: ['GYN9'] } }),
      { ...row(4, 23), event: 'moved' },
      row(1, 20, { visit: { minutes: 45 } }),
    ])
    const dump = async () => {
      const tables = ['feed', 'feed_visit', 'feed_day', 'feed_fault', 'booking', 'follow_up', 'message']
      const { records } = world.composed.database
      return JSON.stringify(
        await Promise.all(tables.map(async (name) => (await records.query(`select * from daysix.${name}`)).rows)),
      )
    }
    const before = await dump()
    const shown = await previewNews(world.deps, FEED.name, file)
    expect(shown.map(({ does }) => does)).toEqual(['nothing', 'cancel', 'book', 'nothing', 'move', 'amend'])
    expect(await dump()).toBe(before)
    expect(await takeNews(world.deps, FEED.name, file)).toEqual(shown)
  })
})

describe('a file that is said to be complete', () => {
  const whole = wholeDays('2026-03-20', '2026-03-20', FEED.zone)

  it('has a person look at what is absent, once, cancels nothing, and takes it back when it is there again', async () => {
    const world = await worldOf()
    const all = [1, 2, 3, 4, 5, 6].map((id) => row(id))
    await take(world, ...all, row(7, 21))
    const takeWhole = (news: ScheduleNews[]) => takeNews(world.deps, FEED.name, reads(news), whole)
    const shown = await previewNews(world.deps, FEED.name, reads(all.slice(1)), whole)
    const lines = await takeWhole(all.slice(1))
    expect(lines).toEqual(shown)
    expect(lines.at(-1)).toMatchObject({ n: 0, does: 'hold', key: keyOf(all[0]!.key!).replace(/\^+$/, '') })
    expect(lines.filter(({ n }) => n === 0)).toHaveLength(1)
    expect(await calls(world)).toEqual([expect.stringContaining('7001')])
    expect(await booked(world)).toHaveLength(7)
    expect((await takeWhole(all.slice(1))).at(-1)).toMatchObject({ n: 0, does: 'nothing' })
    const close = async () => {
      const [open] = await world.deps.store.read.followUps.list({ open: true, limit: 5, reasons: ['schedule-unclear'] })
      await world.deps.store.transact((tx) => tx.followUps.close(open!.id, 'Odile', 'kept', world.clock.now()))
    }
    await takeWhole(all)
    expect(await calls(world)).toEqual([])
    await takeWhole(all.slice(1))
    expect(await calls(world)).toHaveLength(1)
    await close()
    await takeWhole(all.slice(1))
    expect(await calls(world)).toEqual([])
  })

  it('is a fault where more than a third is absent: nothing of it is taken', async () => {
    const world = await worldOf()
    await take(world, ...[1, 2, 3, 4, 5, 6, 7, 8].map((id) => row(id)))
    const half = reads([row(1), row(2), row(3), row(4), row(9)])
    expect(await previewNews(world.deps, FEED.name, half, whole)).toMatchObject([{ n: 0, does: 'refuse' }])
    const [line, ...more] = await takeNews(world.deps, FEED.name, half, whole)
    expect(line).toMatchObject({ does: 'refuse', ack: 'AE', why: expect.stringMatching(/Of 8 visits .* 4 are not in/) })
    expect(more).toEqual([])
    expect(await booked(world)).toHaveLength(8)
    expect(await calls(world)).toEqual([])
    expect(await world.deps.store.read.feeds.faults(FEED.name, 5)).toMatchObject([{ does: 'refuse', key: '' }])
  })

  it('says nothing of what is over, called off here, or of other days', async () => {
    const world = await worldOf()
    await take(world, row(1), row(3, 21), ...[4, 5, 6].map((id) => row(id)))
    const at = new Date('2026-03-20T13:20:00Z')
    const list = { from: at, to: new Date(at.getTime() + 1), limit: 1 } as const
    const [first] = await world.deps.store.read.bookings.list({ ...list, state: 'booked' })
    await cancelBooking(world.deps, first!.id, 'desk')
    const kept = (await booked(world)).length
    expect(kept).toBe(4)
    const lines = await takeNews(world.deps, FEED.name, reads([4, 5, 6].map((id) => row(id))), whole)
    expect(lines.filter(({ n }) => n === 0)).toEqual([])
    await world.passUntil('2026-03-22T12:00:00Z', 1440)
    expect((await takeNews(world.deps, FEED.name, [], whole)).filter(({ n }) => n === 0)).toEqual([])
  })

  it('is of whole days of the clinic, also where the clocks change', () => {
    // Halifax, 2026: clocks go forward on 8 March and back on 1 November (IANA time zone database).
    expect(wholeDays('2026-03-08', '2026-03-08', 'America/Halifax')).toEqual({
      from: new Date('2026-03-08T04:00:00Z'),
      to: new Date('2026-03-09T03:00:00Z'),
    })
    expect(() => wholeDays('2026-03-09', '2026-03-08', 'America/Halifax')).toThrow(/before the first/)
    expect(() => wholeDays('2026-03-09', '2028-03-08', 'America/Halifax')).toThrow(/366/)
  })
})

describe('a feed', () => {
  it.each([
    ['never heard, on a Monday', null, '2026-03-09T13:00:00Z', true],
    ['never heard, on a Sunday', null, '2026-03-08T13:00:00Z', false],
    ['heard on Friday evening, on Monday morning', '2026-03-06T21:00:00Z', '2026-03-09T13:00:00Z', false],
    ['heard on Friday evening, on Tuesday morning', '2026-03-06T21:00:00Z', '2026-03-10T13:00:00Z', true],
    ['heard yesterday', '2026-03-10T13:30:00Z', '2026-03-11T13:00:00Z', false],
    ['heard a day and an hour ago', '2026-03-10T12:00:00Z', '2026-03-11T13:00:00Z', true],
  ])('%s, is silent or not', (_what, heardAt, now, silent) => {
    expect(isSilent(heardAt === null ? null : new Date(heardAt), new Date(now), 'America/Halifax')).toBe(silent)
  })
})
