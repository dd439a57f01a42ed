import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import type { ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import { erasePatient } from '../../src/flows/patients/erase-patient.ts'
import { takeNews } from '../../src/flows/schedule/take-news.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { BY } from '../access/signed-in.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'
import { FEED as EXAMPLE, newsAt } from './example-feed.ts'

// The schedule, the desk and the patient change one visit at the same time. Referee: the tables, by themselves.
const postgres = serverAddress('TEST_DATABASE_URL')
const FEED: Feed = { ...EXAMPLE, consent: { field: 'consent', yes: ['Y'] } }
const IDS = newsAt(0, 'booked').patient!.ids
const ADA = '+17825550101'

describe.skipIf(!postgres)('a visit that several change at once', () => {
  let world: TestWorld
  let database: FreshDatabase
  beforeAll(async () => {
    database = await freshDatabase(postgres!)
    world = await TestWorld.create('2026-03-09T13:00:00Z', database.url, [], { feeds: [FEED] })
  })
  afterAll(async () => {
    await world.close()
    await database.drop()
  })
  const take = (...news: ScheduleNews[]) =>
    takeNews(
      world.deps,
      FEED.name,
      news.map((one) => ({ news: [one] })),
    )
  const hour = (n: number) => new Date(Date.UTC(2026, 2, 20 + (n % 7), 13 + (n % 5)))
  const moved = (minute: number, n: number) => newsAt(minute, 'moved', { visit: { startsAt: hour(n), consent: true } })

  it('ends as the last of them left it, with its one time taken and one plan', async () => {
    await take(newsAt(0, 'booked', { visit: { consent: true } }))
    const [booking] = await world.deps.store.read.bookings.list({ limit: 1 })
    for (let round = 0; round < 6; round++) {
      const n = round * 10
      const work = [
        take(moved(n + 1, n)),
        take(moved(n + 2, n + 1)),
        amendBooking(world.deps, booking!.id, { minutes: 15 + round, by: 'desk' }),
        world.pocket.reply(ADA, "I can't come that day"),
        take(
          newsAt(n + 3, 'changed', { visit: null, patient: { ids: IDS, phones: [{ number: ADA, kind: 'mobile' }] } }),
        ),
      ]
      const done = await Promise.allSettled(work)
      expect(done.filter(({ status }) => status === 'rejected')).toEqual([])
    }
    const { records } = world.composed.database
    const now = (await world.deps.store.read.bookings.get(booking!.id))!
    expect(now.visitAt).toEqual(hour(51))
    const { rows: slots } = await records.query('select starts_at, state from daysix.slot where booking_id is not null')
    expect(slots.filter(({ state }) => state === 'taken')).toEqual([{ starts_at: now.visitAt, state: 'taken' }])
    const { rows: stale } = await records.query(
      "select kind from daysix.message where state in ('planned', 'queued') and revision is not null and revision <> $1",
      [now.planRevision],
    )
    expect(stale).toEqual([])
    const { rows: known } = await records.query('select booking_id from daysix.feed_visit where booking_id is not null')
    expect(known).toEqual([{ booking_id: booking!.id }])
  })

  it('told by two connections at once is booked once', async () => {
    const one = (id: string) =>
      newsAt(1, 'booked', {
        key: { id, namespace: 'SKERRY', occurrence: '' },
        patient: {
          ids: [],
          name: `Gale ${id}`,
          phones: [{ number: `782 555 0${id}`, kind: 'mobile' }],
          language: 'ENG',
        },
      })
    const ids = ['150', '151', '152', '153']
    await Promise.all(ids.flatMap((id) => [take(one(id)), take(one(id)), take(one(id))]))
    const { rows } = await world.composed.database.records.query(
      `select count(*)::integer as bookings, count(distinct patient_id)::integer as patients from daysix.booking`,
    )
    expect(rows).toEqual([{ bookings: ids.length + 1, patients: ids.length + 1 }])
  })

  it('and is erased meanwhile comes to nothing, whoever was first', async () => {
    const [booking] = await world.deps.store.read.bookings.list({ limit: 1, patientIds: [(await patients())[0]!] })
    const news = Array.from({ length: 6 }, (_, n) => take(moved(500 + n, n)))
    await Promise.allSettled([...news.slice(0, 3), erasePatient(world.deps, booking!.patientId, BY), ...news.slice(3)])
    await take(moved(600, 3))
    const { records } = world.composed.database
    const { rows } = await records.query('select id from daysix.booking where patient_id = $1', [booking!.patientId])
    expect(rows).toEqual([])
    expect((await records.query('select id from daysix.feed_visit where booking_id is null')).rows).toEqual([])
  })
  const patients = async () =>
    (await world.composed.database.records.query('select id from daysix.patient order by id')).rows.map(({ id }) =>
      String(id),
    )
})
