import { execFile } from 'node:child_process'
import { readdirSync, readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { promisify } from 'node:util'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { API_KEY, bearer, serveClosed, type Served } from '../../../access/signed-in.ts'
import { TestWorld } from '../../../harness/world.ts'
import { FEED as HOSPITAL } from '../../invented-feed.ts'
import { mutatedJson } from '../../mutated.ts'
import { appointment, bundle, lmp, patient, slot } from '../resources.ts'
import { faultsIn } from './referees.ts'

const FEED = { ...HOSPITAL, settleMinutes: 0, usualLanguage: 'en', languages: { en: 'en' } }
const NUMBERED = { ...FEED, name: 'numbered', keySystem: 'urn:skerry:visit' }
type Told = { status: number; etag: string | null; body: Record<string, unknown> }

let world: TestWorld
let served: Served
beforeAll(async () => {
  world = await TestWorld.create('2026-03-02T12:00:00Z', undefined, [], { feeds: [FEED, NUMBERED] })
  await world.putClinic({}, 'ridge')
  served = await serveClosed(world)
})
afterAll(async () => {
  await served.close()
  await world.close()
})

async function send(
  method: string,
  path: string,
  body?: unknown,
  headers: Record<string, string> = {},
  feed = 'skerry',
) {
  const answer = await fetch(`${served.base}/api/v1/feeds/${feed}/fhir${path}`, {
    ...{ method, headers: { ...bearer(API_KEY), 'Content-Type': 'application/fhir+json', ...headers } },
    ...(body !== undefined && { body: typeof body === 'string' ? body : JSON.stringify(body) }),
  })
  const text = await answer.text()
  const told = { status: answer.status, etag: answer.headers.get('etag'), body: text ? JSON.parse(text) : null } as Told
  if (told.body !== null && told.status !== 500)
    expect({ text, faults: faultsIn(told.body) }).toEqual({ text, faults: [] })
  return told
}

const visits = async () =>
  (await world.deps.store.read.bookings.list({ limit: 1000 })).map(
    ({ visitAt, state }) => `${visitAt.toISOString()} ${state}`,
  )

describe('a sending system that shares no code with ours (Python, urllib)', () => {
  it('creates, updates, repeats, sends a transaction and deletes, as FHIR R4 says', async () => {
    const peer = fileURLToPath(new URL('peer.py', import.meta.url))
    const { stdout } = await promisify(execFile)('python3', [peer, `${served.base}/api/v1/feeds/skerry/fhir`, API_KEY])
    const steps = stdout
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as Told & { name: string; type: string; modified: string })
    const by = Object.fromEntries(steps.map((step) => [step.name, step]))
    expect(Object.fromEntries(steps.map(({ name, status }) => [name, status]))).toEqual({
      ...{
        metadata: 200,
        create: 201,
        'create-again': 200,
        move: 200,
        stale: 412,
        minimal: 200,
        'unknown-criteria': 400,
      },
      ...{
        twin: 201,
        several: 412,
        'transaction-refused': 422,
        transaction: 200,
        delete: 200,
        'not-json': 415,
        'no-kind': 404,
      },
    })
    expect([by.create, by['create-again'], by.move, by.minimal].map((step) => step!.etag)).toEqual([
      'W/"1"',
      'W/"1"',
      'W/"2"',
      'W/"3"',
    ])
    expect(by.create!.modified).toBe('Mon, 02 Mar 2026 12:00:00 GMT')
    expect(by.move!.body).toMatchObject({ resourceType: 'Appointment', meta: { versionId: '2' } })
    expect(by.minimal!.body).toBeNull()
    expect(by.transaction!.body).toMatchObject({
      ...{
        type: 'transaction-response',
        entry: [{ response: { status: '201 Created' } }, { response: { etag: 'W/"1"' } }],
      },
    })
    for (const { name, type, body } of steps) {
      if (body === null) continue
      expect({ name, faults: faultsIn(body) }).toEqual({ name, faults: [] })
      expect(type).toBe('application/fhir+json; charset=utf-8')
    }
    // Booked, moved once, not moved back by the stale one; the twin beside it; what was deleted is gone.
    expect((await visits()).filter((each) => each.endsWith('booked')).sort()).toEqual([
      ...['2026-03-21T13:00:00.000Z booked', '2026-03-27T12:00:00.000Z booked'],
    ])
    expect(await visits()).toContain('2026-03-24T12:00:00.000Z cancelled')
  })
})

describe('what is told resource by resource', () => {
  it('is refused in words where it is no such thing', async () => {
    expect((await send('PUT', '/Appointment/a9', appointment({ id: 'a8' }))).status).toBe(400)
    expect((await send('PUT', '/Appointment/p1', patient())).status).toBe(400)
    expect((await send('PUT', '/Appointment/a1', appointment({ start: '9' }))).status).toBe(422)
    expect((await send('PUT', '/Appointment/a1', appointment(), { 'If-Match': 'x' })).status).toBe(400)
    expect((await send('POST', '/Patient', patient(), { 'If-None-Exist': 'identifier=a|b' })).status).toBe(400)
    expect((await send('POST', '', patient())).status).toBe(400)
    expect((await send('POST', '', '{"resourceType":')).status).toBe(400)
    expect((await send('POST', '', '[]')).status).toBe(400)
    expect((await send('POST', '', `${'['.repeat(50_000)}${']'.repeat(50_000)}`)).status).toBe(400)
    expect((await send('GET', '/Appointment/a1')).status).toBe(404)
    expect((await send('GET', '/metadata', undefined, {}, 'nowhere')).status).toBe(404)
    expect((await send('POST', '', Buffer.alloc(6 * 1024 * 1024, 65).toString())).status).toBe(413)
    expect((await send('GET', '/metadata', undefined, { Authorization: 'Bearer wrong' })).status).toBe(401)
  })

  it('waits for a person with 202, and with 422 where its sender must mend it too', async () => {
    const at = (place: string) => ({
      contained: [patient({ id: 'x', telecom: [{ system: 'phone', value: '+1-782-555-0107' }] })],
      participant: [
        { actor: { reference: '#x' }, status: 'accepted' },
        { actor: { reference: `Location/${place}` }, status: 'accepted' },
      ],
    })
    expect((await send('PUT', '/Appointment/h1', appointment({ id: 'h1', ...at('X') }))).status).toBe(422)
    expect((await send('PUT', '/Appointment/h2', appointment({ id: 'h2', ...at('GYN1') }))).status).toBe(201)
    // Of a visit that is still to come nobody can know that.
    const early = await send('PUT', '/Appointment/h2', appointment({ id: 'h2', status: 'noshow', ...at('GYN1') }))
    expect(early).toMatchObject({ status: 202, etag: 'W/"2"', body: { issue: [{ severity: 'warning' }] } })
    expect(await world.reasons()).toContain('schedule-unclear')
  })

  it('with its own version counts by ours: what came last is so, unless it says that it is older', async () => {
    const at = (hour: string, meta?: object) =>
      appointment({
        id: 'v1',
        meta,
        start: `2026-04-01T${hour}:00:00-03:00`,
        end: `2026-04-01T${hour}:20:00-03:00`,
        contained: [patient({ id: 'x' })],
        participant: [
          { actor: { reference: '#x' }, status: 'accepted' },
          { actor: { reference: 'Location/GYN1' }, status: 'accepted' },
        ],
      })
    const meta = (lastUpdated: string) => ({ versionId: '7', lastUpdated })
    await send('PUT', '/Appointment/v1', at('09', meta('2026-03-01T10:00:00Z')))
    await send('PUT', '/Appointment/v1', at('10', meta('2026-03-01T11:00:00Z')))
    await send('PUT', '/Appointment/v1', at('11', meta('2026-03-01T09:00:00Z')))
    expect(await visits()).toContain('2026-04-01T13:00:00.000Z booked')
    // Whoever names the version that it follows has seen what is known.
    const follows = await send('PUT', '/Appointment/v1', at('12', meta('2026-03-01T09:00:00Z')), {
      'If-Match': 'W/"3"',
    })
    expect(follows).toMatchObject({ status: 200, etag: 'W/"4"' })
    expect(await visits()).toContain('2026-04-01T15:00:00.000Z booked')
  })

  it('is deleted by its address also where its number is the key', async () => {
    const who = { contained: [patient({ id: 'x', telecom: [{ system: 'phone', value: '+1-782-555-0109' }] })] }
    const there = [
      { actor: { reference: '#x' }, status: 'accepted' },
      { actor: { reference: 'Location/GYN1' }, status: 'accepted' },
    ]
    const one = appointment({
      id: 'n1',
      ...who,
      participant: there,
      start: '2026-04-07T09:00:00-03:00',
      end: '2026-04-07T09:20:00-03:00',
    })
    expect((await send('PUT', '/Appointment/n1', one, {}, 'numbered')).status).toBe(201)
    expect((await send('DELETE', '/Appointment/n2', undefined, {}, 'numbered')).status).toBe(404)
    expect((await send('DELETE', '/Appointment/n1', undefined, { 'If-Match': 'W/"9"' }, 'numbered')).status).toBe(412)
    expect(await visits()).toContain('2026-04-07T12:00:00.000Z booked')
    expect((await send('DELETE', '/Appointment/n1', undefined, {}, 'numbered')).status).toBe(200)
    expect(await visits()).toContain('2026-04-07T12:00:00.000Z cancelled')
    const known = await send(
      'POST',
      '/Appointment',
      one,
      { 'If-None-Exist': 'identifier=urn:skerry:visit|0007001' },
      'numbered',
    )
    expect(known.status).toBe(200)
  })

  it('in a batch is taken entry by entry, each with its own answer', async () => {
    const put = (resource: Record<string, unknown>, more: object = {}) => ({
      resource,
      request: { method: 'PUT', url: `${String(resource['resourceType'])}/${String(resource['id'])}`, ...more },
    })
    const entry = [
      put(patient({ id: 'q1' })),
      put(appointment({ id: 'q2' }), { ifMatch: 'W/"5"' }),
      put(slot({ id: 'q3' })),
      put(lmp({ id: 'q4', status: 'x' })),
      { request: { method: 'GET', url: 'Patient/p1' } },
      put(patient({ id: 'q1' })),
    ]
    const { status, body } = await send('POST', '', { resourceType: 'Bundle', type: 'batch', entry })
    expect(status).toBe(200)
    const told = body as { type: string; entry: { response: { status: string; etag?: string } }[] }
    expect(told.type).toBe('batch-response')
    expect(told.entry.map(({ response }) => [response.status.slice(0, 3), response.etag])).toEqual([
      ...[
        ['201', 'W/"1"'],
        ['412', undefined],
        ['201', 'W/"1"'],
      ],
      ...[
        ['422', undefined],
        ['400', undefined],
        ['200', 'W/"2"'],
      ],
    ])
  })

  it('in a transaction is taken wholly or not at all', async () => {
    const one = (id: string, ifMatch?: string) => ({
      resource: patient({ id }),
      request: { method: 'PUT', url: `Patient/${id}`, ...(ifMatch && { ifMatch }) },
    })
    const transact = (...entry: object[]) => send('POST', '', { resourceType: 'Bundle', type: 'transaction', entry })
    expect(await transact(one('w1'), one('w2', 'W/"1"'))).toMatchObject({
      ...{ status: 412, body: { issue: [{ expression: ['Bundle.entry[1]'] }] } },
    })
    // Nothing of the first was kept: it is new still.
    expect((await transact(one('w1'), one('w2'))).body).toMatchObject({
      entry: [{ response: { status: '201 Created' } }, { response: { status: '201 Created' } }],
    })
  })

  it.each(['history', 'message', 'collection'])('in a bundle of the type %s is taken too', async (type) => {
    const { status, body } = await send(
      'POST',
      '',
      bundle(type, patient({ id: `b-${type}` }), slot({ id: `s-${type}` })),
    )
    expect({ status, type: body['type'] }).toEqual({ status: 200, type: 'batch-response' })
  })
})

describe('whatever is sent', () => {
  const EXAMPLES = new URL('../examples/', import.meta.url)

  it.each(readdirSync(EXAMPLES).filter((name) => name.endsWith('.json')))("as HL7's %s is answered", async (name) => {
    const sent = JSON.parse(readFileSync(new URL(name, EXAMPLES), 'utf8')) as { resourceType: string; id: string }
    expect((await send('POST', `/${sent.resourceType}`, sent)).status).toBeLessThan(500)
    expect((await send('PUT', `/${sent.resourceType}/${sent.id}`, sent)).status).toBeLessThan(500)
  })

  it('is never a fault of ours', async () => {
    const put = (one: Record<string, unknown>) => ({
      resource: one,
      request: { method: 'PUT', url: `${String(one['resourceType'])}/${String(one['id'])}` },
    })
    const originals = [
      appointment(),
      patient(),
      lmp(),
      slot(),
      bundle('batch', put(appointment()), put(slot())),
      bundle('transaction', put(patient()), put(appointment())),
    ]
    const statuses = new Map<number, number>()
    await fc.assert(
      fc.asyncProperty(mutatedJson(originals), async (sent) => {
        const type = (sent as { resourceType?: unknown } | null)?.resourceType
        const { status } = await send(
          'POST',
          typeof type === 'string' && /^[A-Z][a-z]+$/.test(type) && type !== 'Bundle' ? `/${type}` : '',
          sent,
        )
        statuses.set(status, (statuses.get(status) ?? 0) + 1)
        expect(status).toBeLessThan(500)
      }),
      { numRuns: 300 },
    )
    // Much is taken, much is refused: else nothing was tried.
    expect([...statuses.keys()].length).toBeGreaterThan(2)
  }, 120_000)
})
