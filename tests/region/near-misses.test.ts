import { parse } from 'csv-parse/sync'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { nearMissWordsFault } from '../../src/domain/region/near-miss.ts'
import { cookieOf, hire, serveClosed, type Served } from '../access/signed-in.ts'
import { TestWorld } from '../harness/world.ts'

const TOLD = {
  ...{ date: '2026-03-08', time: '16:20', kind: 'told-late', reach: 'reached' },
  words: 'A patient of the list of 8 March was told of the preparation in the evening before, by us on the telephone.',
  told: 'The clinician, at once',
}

describe('the record of near misses', () => {
  let world: TestWorld
  let served: Served
  const as: Record<string, Record<string, string>> = {}

  beforeEach(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    for (const role of ['desk', 'clinician', 'educator'] as const) {
      const tied = role === 'educator' ? {} : { clinicId: 'harbour' }
      const { id } = await hire(world, { login: `some-${role}`, role, ...tied })
      as[role] = await cookieOf(world, id)
    }
    served = await serveClosed(world)
  })
  afterEach(async () => {
    await served.close()
    await world.close()
  })

  const told = (form: Record<string, string>, who = 'clinician') =>
    served.ask('/desk/harbour/near-misses', { form, headers: as[who]! })
  const seen = async (who: string, path = '/desk/harbour/near-misses') =>
    (await served.ask(path, { headers: as[who]! })).text

  it('is told on the page, seen by the educator, and looked into once', async () => {
    expect((await told(TOLD)).status).toBe(303)
    const page = await seen('educator')
    expect(page).toContain(TOLD.words)
    expect(page).toContain('Not looked into yet')
    expect(page).toContain('2026-03-08T19:20:00.000Z')
    const id = /near-misses\/(n_[^/]+)\/review/.exec(page)![1]!
    const review = (change: string) =>
      served.ask(`/desk/harbour/near-misses/${id}/review`, { form: { [`change-${id}`]: change }, headers: as.desk! })
    expect((await review('')).status).toBe(422)
    expect((await review('The list is read at noon as well.')).status).toBe(303)
    expect((await review('Another change.')).status).toBe(409)
    expect(await seen('desk')).toContain('The list is read at noon as well.')
  })

  it('leads an educator, who sees no bookings, from the first page to the records of the clinics', async () => {
    const start = await seen('educator', '/')
    expect(start).toContain('href="/desk/harbour/near-misses"')
    expect(start).toContain('href="/desk/ridge/near-misses"')
    expect(start).not.toContain('href="/desk"')
    expect(await seen('desk', '/')).not.toContain('/near-misses')
  })

  it.each([
    ['without words', { words: '' }, 'Say what happened'],
    ['without a kind', { kind: '' }, 'Choose what kind'],
    ['of a time to come', { date: '2026-03-10' }, 'still to come'],
    ['of long ago', { date: '2024-03-10' }, 'more than a year ago'],
    ['of a day that does not exist', { date: '2026-02-30' }, 'no such date'],
    ['with a telephone number', { words: 'The patient at 782 555 0101 was not told.' }, 'telephone or health number'],
  ])('%s is refused in words, keeps what was typed, and keeps no record', async (_, wrong, words) => {
    const { status, text } = await told({ ...TOLD, ...wrong })
    expect(status).toBe(422)
    expect(text).toContain(words)
    expect(text).toContain(TOLD.told)
    expect(text).toMatch(/<details[^>]* open>/)
    expect(await seen('desk')).toContain('Nothing is recorded.')
  })

  it('is taken away as a file (RFC 4180), where no words are a formula', async () => {
    await told({ ...TOLD, words: '=HYPERLINK("x"), "quoted",\nand a second line' })
    const rows = parse(await seen('desk', '/desk/harbour/near-misses/file'), { columns: true }) as Record<
      string,
      string
    >[]
    expect(rows).toHaveLength(1)
    expect(rows[0]!['what happened']).toMatch(/^'=HYPERLINK\("x"\), "quoted",\r?\nand a second line$/)
    expect(rows[0]!.happened).toBe('2026-03-08T16:20:00-03:00')
  })

  it('is read page by page over the API, of one clinic or all, each record once', async () => {
    for (let n = 0; n < 7; n++) {
      const clinic = n % 2 === 0 ? 'harbour' : 'ridge'
      const json = {
        clinic,
        happened: `2026-03-0${1 + (n % 3)}T10:00`,
        kind: 'other',
        reach: 'caught',
        words: `No ${n}.`,
      }
      const { status } = await served.ask('/api/v1/near-misses', { json: { ...json, by: 'x' }, headers: as.educator! })
      expect(status).toBe(201)
    }
    const walk = async (query: string) => {
      const found: string[] = []
      for (let cursor = ''; ;) {
        const address = `/api/v1/near-misses?limit=2${query}${cursor && `&cursor=${cursor}`}`
        const body = JSON.parse(await seen('educator', address)) as {
          nearMisses: { words: string }[]
          next: string | null
        }
        found.push(...body.nearMisses.map(({ words }) => words))
        if (body.next === null) return found.sort()
        cursor = body.next
      }
    }
    expect(await walk('')).toEqual([0, 1, 2, 3, 4, 5, 6].map((n) => `No ${n}.`))
    expect(await walk('&clinic=harbour')).toEqual([0, 2, 4, 6].map((n) => `No ${n}.`))
    expect((await served.ask('/api/v1/near-misses?cursor=1~x', { headers: as.educator! })).status).toBe(422)
  })

  it('lies sealed in the database, and stays when a patient is erased', async () => {
    await told(TOLD)
    const { booking } = await world.book({ visit: '2026-03-25T09:00' })
    await world.deps.access.transact((tx) => tx.rights.erase(booking.patientId, world.deps.clock.now()))
    expect(await seen('desk')).toContain(TOLD.words)
    const rows = await world.composed.database.records.query('select * from near_miss')
    expect(rows.rows).toHaveLength(1)
    expect(JSON.stringify(rows.rows)).not.toMatch(/preparation|clinician/)
  })
})

describe('words of a near miss', () => {
  // The numbers are reserved for fiction (NANP 555-0100 to 0199); the rest is invented.
  it.each(['+17825550101', '782-555-0101', '(782) 555 0101', 'card 1234 567 890', '07700 900123'])(
    'may not hold %s',
    (words) => expect(nearMissWordsFault(`Told at ${words}.`)).toMatch(/number/),
  )
  it.each(['at 10:30 on 2026-03-08, 3 of 12 patients', '08.03.2026 at 9', 'between 9.00 and 10.30, twice'])(
    'may hold %s',
    (words) => expect(nearMissWordsFault(words)).toBeNull(),
  )
})
