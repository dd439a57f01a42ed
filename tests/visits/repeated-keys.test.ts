import { readFileSync } from 'node:fs'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { sweep } from '../../src/flows/messages/sweep.ts'
import { KEYS_KEPT_DAYS } from '../../src/flows/visits/idempotency.ts'
import { serveApi } from '../harness/api.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Own rule: one age, that callers are told. Keys of requests: common practice, no source for the age.
const B = '/api/v1/bookings'
const KEPT_MS = KEYS_KEPT_DAYS * 86_400_000
const START = new Date('2026-03-09T13:00:00Z').getTime()

describe.each(STORES)('an Idempotency-Key of some age, on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  const key = (name: string) => ({ 'Idempotency-Key': `key-of-${name}` })
  const booking = (n: number, visit = `2026-04-01T${n}:00`) => ({
    visit,
    patient: { name: `Caller ${n}`, phone: `(782) 555-01${n}` },
    cycle: { lmp: '2026-03-02', usualCycleDays: 28 },
    consent: { recordedBy: 'desk' },
  })

  beforeAll(async () => {
    opened = await open(new Date(START).toISOString())
    world = opened.world
    api = await serveApi(world)
    for (const n of [10, 11, 12, 13]) expect((await api.post(B, booking(n), key(String(n)))).status).toBe(201)
  })
  afterAll(async () => {
    await api.close()
    await opened.close()
  })

  it('is known until then, whatever has run meanwhile', async () => {
    await world.clock.moveTo(new Date(START + KEPT_MS - 60_000))
    await sweep(world.deps)
    const repeated = await api.post(B, booking(10), key('10'))
    expect(repeated.headers.get('idempotency-replayed')).toBe('true')
    const other = await api.post(B, booking(40, '2026-04-06T09:00'), key('10'))
    expect(other).toMatchObject({ status: 409, body: { code: 'key-reused' } })
  })

  it('is new from then on, before anything was cleared: for another request and for the same', async () => {
    await world.clock.moveTo(new Date(START + KEPT_MS))
    const other = await api.post(B, booking(11, '2026-04-02T09:00'), key('11'))
    expect(other.status).toBe(201)
    expect(other.headers.get('idempotency-replayed')).toBeNull()
    // The patient has that visit already; that is for the booking to say, not for the key.
    expect(await api.post(B, booking(12), key('12'))).toMatchObject({ body: { code: 'already-booked' } })
    const again = await api.post(B, booking(11, '2026-04-02T09:00'), key('11'))
    expect(again.body).toEqual(other.body)
  })

  it('books once when the same request arrives with an old key ten times at the same moment', async () => {
    const same = booking(13, '2026-04-03T09:00')
    const answers = await Promise.all(Array.from({ length: 10 }, () => api.post(B, same, key('13'))))
    expect(answers.map(({ status }) => status)).toEqual(Array(10).fill(201))
    expect(new Set(answers.map(({ body }) => body.booking.id)).size).toBe(1)
  })

  it('is cleared by the sweep at the same age', async () => {
    await sweep(world.deps)
    const { rows } = await world.composed.database.records.query('select key from daysix.idempotency order by key')
    expect(rows.map((row) => row.key)).toEqual(['key-of-11', 'key-of-13'])
  })

  it('is described with its age where callers look', async () => {
    const { body } = await api.get('/api/v1/openapi.json')
    const [header] = body.paths['/bookings'].post.parameters
    expect(header).toMatchObject({ name: 'Idempotency-Key' })
    expect(header.description).toContain(`${KEYS_KEPT_DAYS} days`)
    const readme = readFileSync(new URL('../../README.md', import.meta.url), 'utf8')
    expect(readme).toContain(`An \`Idempotency-Key\` is known for ${KEYS_KEPT_DAYS} days`)
  })
})
