import { readFileSync } from 'node:fs'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { API_KEY, bearer, serveClosed } from '../access/signed-in.ts'
import { TestWorld } from '../harness/world.ts'
import { readFeed } from '../../src/adapters/schedule/feed-file.ts'

// The same week in three forms, each posted as it is to a feed of its own: referee is the week as HL7 v2, tried against
// the command in taken.test.ts.
const FORMS = [
  ['skerry', 'week.hl7'],
  ['skerry-fhir', 'week.bundle.json'],
  ['skerry-fhir', 'week.ndjson'],
] as const
const known = { protocols: new Set(['liquid-based-cytology', 'clinician-hpv']), languages: new Set(['en', 'fr']) }
const file = (name: string) => readFileSync(new URL(`../../demo/schedule/${name}`, import.meta.url))
/** As they are described; of languages those that are approved here. */
const described = (name: string) => {
  const text = file(`${name}.yaml`)
    .toString('utf8')
    .replace(/^languages:.*$/m, 'languages: { en: en, fr: fr }')
  return { ...readFeed(text, name, known), name }
}
const FEED = described('skerry')

describe('messages of a schedule over the API', () => {
  let world: TestWorld
  let served: Awaited<ReturnType<typeof serveClosed>>
  const post = (feed: string, body: string | Buffer, headers: Record<string, string> = bearer(API_KEY), name = '') =>
    fetch(`${served.base}/api/v1/feeds/${feed}/news?name=${name}`, { method: 'POST', body, headers })

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-02T12:00:00Z', undefined, [], {
      ...{ feeds: [FEED, described('skerry-fhir')], approved: ['en', 'fr'] },
    })
    await world.putClinic({}, 'ridge')
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('are taken in whatever form, and come to the same', async () => {
    const booked = async () =>
      (await world.deps.store.read.bookings.list({ limit: 100, state: 'booked' })).map(({ id, visitAt }) => [
        id,
        visitAt,
      ])
    let ends: unknown
    for (const [feed, name] of FORMS) {
      const answer = await post(feed, file(name))
      expect(answer.status).toBe(200)
      const { counts } = (await answer.json()) as { counts: Record<string, number> }
      expect(name === 'week.ndjson' ? counts.nothing : counts.book).toBeGreaterThan(3)
      ends ??= await booked()
      // What another feed told of before is the same visit: nobody is booked twice.
      expect(await booked()).toEqual(ends)
    }
  })

  it('are refused to whoever may not write, and where no such feed is described', async () => {
    expect((await post(FEED.name, 'MSH|', {})).status).toBe(401)
    expect((await post('nowhere', 'MSH|')).status).toBe(404)
    expect((await post(FEED.name, '')).status).toBe(422)
  })

  it('say of every one what it did, also where nothing can be read', async () => {
    const answer = await post(FEED.name, 'this is no schedule\u0000', bearer(API_KEY), 'x.hl7')
    expect(await answer.json()).toMatchObject({ counts: { refuse: 1 }, lines: [{ n: 1, does: 'refuse', ack: 'AE' }] })
    const listed = await fetch(`${served.base}/api/v1/feeds`, { headers: bearer(API_KEY) })
    const { feeds } = (await listed.json()) as { feeds: object[] }
    expect(feeds[0]).toMatchObject({ name: FEED.name, clinics: ['harbour', 'ridge'] })
    expect(JSON.stringify(feeds)).toContain('"does":"refuse","count":')
  })

  it('may be as large as a day of ten thousand visits, and no larger', async () => {
    expect((await post(FEED.name, Buffer.alloc(17 * 1024 * 1024, 65))).status).toBe(413)
  })
})
