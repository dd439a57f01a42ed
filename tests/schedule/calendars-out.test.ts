import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { request } from 'node:http'
import { spawnSync } from 'node:child_process'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { API_KEY, bearer, cookieOf, hire, serveClosed } from '../access/signed-in.ts'
import { present } from '../gateways/peers/programs.ts'
import { TestWorld } from '../harness/world.ts'

// Referee: python3-icalendar, which reads what calendars elsewhere would (RFC 5545). Invented visits.
const PYTHON = '/usr/bin/python3'
const READ = `
import sys, json, icalendar
calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
print(json.dumps([{
  'uid': str(e['UID']), 'start': e['DTSTART'].dt.isoformat(), 'end': e['DTEND'].dt.isoformat(),
  'summary': str(e['SUMMARY']), 'status': str(e['STATUS']), 'sequence': int(e['SEQUENCE']),
  'location': str(e.get('LOCATION', '')),
} for e in calendar.walk('VEVENT')]))
`
interface Event {
  uid: string
  start: string
  end: string
  summary: string
  status: string
  sequence: number
  location: string
}
const read = (text: string) => JSON.parse(spawnSync(PYTHON, ['-c', READ], { input: text }).stdout.toString()) as Event[]

/** Not by `fetch`, which asks for what is new whatever the tag says. */
const statusOf = (url: string, headers: Record<string, string>) =>
  new Promise<number>((done, fail) => {
    request(url, { headers }, (answer) => done(answer.resume().statusCode!))
      .on('error', fail)
      .end()
  })

describe.skipIf(!present(PYTHON, ['-c', 'import icalendar']))('calendars of a clinic, elsewhere', () => {
  let world: TestWorld
  let served: Awaited<ReturnType<typeof serveClosed>>
  let clerk: { id: string }
  const listed = async () => {
    const answer = await fetch(`${served.base}/api/v1/clinics/harbour/calendars`, { headers: bearer(API_KEY) })
    return ((await answer.json()) as { calendars: { clinician: string | null; path: string }[] }).calendars
  }
  const get = (path: string) => fetch(`${served.base}${path}`)

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({ calendar: 'without-names' })
    await world.book({ visit: '2026-03-20T10:30', clinician: 'North', minutes: 20 })
    await world.book({ visit: '2026-03-21T10:30', clinician: 'South', name: 'Bea Lowther', phone: '782 555 0102' })
    clerk = await hire(world, { login: 'desk-1', role: 'desk', clinicId: 'harbour' })
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('are one of the clinic and one of each clinician, without a name', async () => {
    const all = await listed()
    expect(all.map(({ clinician }) => clinician)).toEqual([null, 'North', 'South'])
    const texts = await Promise.all(all.map(async ({ path }) => (await get(path)).text()))
    const [whole, north, south] = texts.map(read)
    expect(whole).toMatchObject([
      { start: '2026-03-20T13:30:00+00:00', end: '2026-03-20T13:50:00+00:00', summary: 'Visit', location: 'North' },
      { start: '2026-03-21T13:30:00+00:00', status: 'CONFIRMED', sequence: 0 },
    ])
    expect([north!.length, south!.length]).toEqual([1, 1])
    expect(texts.join()).not.toMatch(/Fenwick|Lowther|5550101|b_/)
  })

  it('stand on the page of the schedule, for whoever books', async () => {
    const { path } = (await listed())[0]!
    const page = await fetch(`${served.base}/desk/harbour/feeds`, { headers: await cookieOf(world, clerk.id) })
    expect(await page.text()).toContain(`href="${path}"`)
  })

  it('say that nothing has changed, and what was called off', async () => {
    const { path } = (await listed())[0]!
    const first = await get(path)
    expect(await statusOf(`${served.base}${path}`, { 'If-None-Match': first.headers.get('ETag')! })).toBe(304)
    const before = read(await first.text())
    const [, second] = await world.deps.store.read.bookings.list({ limit: 9 })
    await cancelBooking(world.deps, second!.id, 'desk')
    const after = read(await (await get(path)).text())
    expect(after[1]).toMatchObject({ uid: before[1]!.uid, status: 'CANCELLED', sequence: 1 })
  })

  it('name patients only where the clinic says so, and are nowhere once it says no, or begins a new edition', async () => {
    const { path } = (await listed())[0]!
    await world.putClinic({ calendar: 'with-names' })
    expect(await (await get(path)).text()).toContain('Ada Fenwick')
    await world.putClinic({ calendar: 'with-names', calendarEdition: 2 })
    expect((await get(path)).status).toBe(404)
    expect((await get((await listed())[0]!.path)).status).toBe(200)
    await world.putClinic({ calendar: 'none', calendarEdition: 1 })
    expect((await get(path)).status).toBe(404)
    expect(await listed()).toEqual([])
  })

  it('are not found by guessing, nor by the mark of another', async () => {
    await world.putClinic({ calendar: 'without-names' })
    const [whole, north] = (await listed()).map(({ path }) => path)
    const mark = whole!.split('/').at(-1)!
    for (const path of [
      whole!.replace(/.\.ics$/, '_.ics'),
      north!.replace(/[^/]+$/, mark),
      '/calendars/harbour/.ics',
      '/calendars/harbour/%00.ics',
      `/calendars/nowhere/${mark}`,
      '/calendars/harbour/%ff/x.ics',
    ])
      expect([404, 422], path).toContain((await get(path)).status)
  })
})
