import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { API_KEY, bearer, serveClosed, type Served } from '../../../access/signed-in.ts'
import { freshDatabase, serverAddress, TEST_KEY, type FreshDatabase } from '../../../harness/servers.ts'
import { TestWorld } from '../../../harness/world.ts'
import { FEED as HOSPITAL } from '../../invented-feed.ts'
import { appointment, patient } from '../resources.ts'

const FEED = { ...HOSPITAL, settleMinutes: 0, usualLanguage: 'en' }
const server = serverAddress('TEST_DATABASE_URL')

// Two processes of the service on one PostgreSQL: what both read, one of them may write.
describe.skipIf(server === undefined)('two writers', () => {
  let database: FreshDatabase
  let worlds: TestWorld[] = []
  let served: Served[] = []
  beforeAll(async () => {
    database = await freshDatabase(server!)
    for (let each = 0; each < 2; each++)
      worlds.push(
        await TestWorld.create('2026-03-02T12:00:00Z', database.url, [], {
          ...{ feeds: [FEED], settings: { DAYSIX_KEY: TEST_KEY } },
        }),
      )
    served = await Promise.all(worlds.map((world) => serveClosed(world)))
  })
  afterAll(async () => {
    await Promise.all(served.map((each) => each.close()))
    for (const world of worlds) await world.close()
    worlds = []
    await database.drop()
  })

  const at = (minute: number) =>
    appointment({
      id: 'a1',
      start: `2026-03-20T09:${String(minute).padStart(2, '0')}:00-03:00`,
      end: '2026-03-20T10:30:00-03:00',
      contained: [patient({ id: 'x' })],
      participant: [
        { actor: { reference: '#x' }, status: 'accepted' },
        { actor: { reference: 'Location/GYN1' }, status: 'accepted' },
      ],
    })
  const ANOTHER_DAY = { start: '2026-03-23T09:00:00-03:00', end: '2026-03-23T09:20:00-03:00' }
  const put = async (by: number, minute: number, headers: Record<string, string>) => {
    const answer = await fetch(`${served[by % 2]!.base}/api/v1/feeds/skerry/fhir/Appointment/a1`, {
      ...{ method: 'PUT', body: JSON.stringify(at(minute)) },
      headers: { ...bearer(API_KEY), 'Content-Type': 'application/fhir+json', ...headers },
    })
    return { status: answer.status, minute, text: await answer.text() }
  }

  it('of one version: exactly one wins, and what is booked is what that one wrote', async () => {
    expect((await put(0, 0, {})).status).toBe(201)
    for (let version = 1; version <= 10; version++) {
      const all = await Promise.all(
        [1, 2, 3, 4].map((by) => put(by, version * 4 + by, { 'If-Match': `W/"${version}"` })),
      )
      expect(all.map(({ status }) => status).sort()).toEqual([200, 412, 412, 412])
      const { minute } = all.find(({ status }) => status === 200)!
      const [booked] = await worlds[0]!.deps.store.read.bookings.list({ state: 'booked', limit: 2 })
      expect(booked!.visitAt.toISOString()).toBe(`2026-03-20T12:${String(minute).padStart(2, '0')}:00.000Z`)
    }
  })

  it('of what is new: it is made once', async () => {
    const post = (by: number) =>
      fetch(`${served[by % 2]!.base}/api/v1/feeds/skerry/fhir/Appointment`, {
        method: 'POST',
        body: JSON.stringify({ ...at(0), ...ANOTHER_DAY, identifier: [{ system: 'urn:new', value: '1' }] }),
        headers: {
          ...bearer(API_KEY),
          'Content-Type': 'application/fhir+json',
          'If-None-Exist': 'identifier=urn:new|1',
        },
      }).then(({ status }) => status)
    expect((await Promise.all([0, 1, 2, 3].map(post))).sort()).toEqual([200, 200, 200, 201])
  })
})
