import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

const B = '/api/v1/bookings'

describe('the booking API', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let count = 0

  const booking = (changes: object = {}) => ({
    // Each at a clinician of its own: no two of one overlap.
    visit: `2026-03-25T09:${String(10 + count++)}`,
    clinician: `room ${count}`,
    patient: { name: `Caller ${count}`, phone: `(782) 555-01${String(count).padStart(2, '0')}` },
    cycle: { lmp: '2026-03-02', usualCycleDays: 28 },
    consent: { recordedBy: 'desk' },
    ...changes,
  })

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    api = await serveApi(world)
  })
  afterAll(async () => {
    await api.close()
    await world.close()
  })

  it('books a well-timed visit and says so, with the plan', async () => {
    const { status, body, headers } = await api.post(B, booking())
    expect(status).toBe(201)
    expect(headers.get('location')).toBe(`${B}/${body.booking.id}`)
    expect(body.booking.patient.phone).toBe('+17825550101')
    expect(body.timing).toMatchObject({ keep: true, cycleDay: 24 })
    expect(body.timing.avoidProbability).toBeGreaterThanOrEqual(0)
    expect(body.timing.avoidProbability).toBeLessThanOrEqual(1)
    expect(body.plan.messages.map(({ kind }: { kind: string }) => kind)).toEqual(
      expect.arrayContaining(['confirmation', 'prep', 'day-before']),
    )
  })

  it('warns of a visit on days to avoid and lists better openings', async () => {
    await api.post('/api/v1/openings', {
      clinic: 'harbour',
      at: ['2026-04-08T09:00', '2026-04-09T09:00', '2026-04-10T09:00', '2026-04-13T09:00'],
    })
    const { body } = await api.post(B, booking({ visit: '2026-03-31T09:00' })) // day 2 of the next cycle at 28 days
    expect(body.timing.keep).toBe(false)
    expect(body.openings.length).toBeGreaterThan(0)
    expect(body.openings.length).toBeLessThanOrEqual(3)
    expect(body.openings.map(({ rank }: { rank: number }) => rank).sort()).toEqual(
      body.openings.map((_: unknown, index: number) => index + 1),
    )
    for (const { avoidProbability, cycleDay } of body.openings) {
      expect(avoidProbability).toBeLessThan(body.timing.avoidProbability)
      expect(cycleDay).toBeGreaterThan(5)
    }
    // Two weeks after the first day of the last period (common practice): LMP 2 March, so 16 March.
    expect(body.timing.windows).toHaveLength(3)
    expect(body.timing.windows[0]).toMatchObject({ ideal: '2026-03-16' })
    expect(body.timing.caution).toMatch(/Never use it to avoid or plan a pregnancy/)
  })

  it.each([
    ['unknown', 'lmp-question'],
    ['no-periods', 'prep'],
    ['pregnant', 'prep'],
  ])('takes an LMP of "%s" and plans a %s', async (lmp, kind) => {
    const { status, body } = await api.post(B, booking({ cycle: { lmp } }))
    expect(status).toBe(201)
    expect(body.plan.messages.map((message: { kind: string }) => message.kind)).toContain(kind)
  })

  // Offsets: RFC 9110 and RFC 9457 for statuses and problem documents.
  it.each([
    ['an impossible date', { cycle: { lmp: '2026-02-30' } }, 'cycle.lmp'],
    ['a reason for no periods beside a date', { cycle: { lmp: '2026-03-02', because: 'hormonal' } }, 'cycle.because'],
    ['an LMP in the future', { cycle: { lmp: '2026-03-20' } }, 'cycle.lmp'],
    ['an LMP too old to use', { cycle: { lmp: '2025-01-01' } }, 'cycle.lmp'],
    ['a visit in the past', { visit: '2026-03-01T09:00' }, 'visit'],
    ['a visit at an hour the clocks skip', { visit: '2027-03-14T02:30' }, 'visit'],
    ['a visit that is no time', { visit: 'Tuesday at nine' }, 'visit'],
    ['an unknown zone', { zone: 'America/Nowhere' }, 'zone'],
    ['a phone that is none', { patient: { name: 'X', phone: '12' } }, 'patient.phone'],
    ['a missing name', { patient: { name: ' ', phone: '782 555 0150' } }, 'patient.name'],
    ['an unknown protocol', { protocol: 'tea-leaves' }, 'protocol'],
    ['an unknown clinic', { clinic: 'atlantis' }, 'clinic'],
    ['a field nobody knows', { colour: 'blue' }, ''],
    ['an unheard-of cycle length', { cycle: { lmp: '2026-03-02', usualCycleDays: 280 } }, 'cycle.usualCycleDays'],
  ])('refuses %s, names the field and the mend, keeps nothing', async (_what, changes, field) => {
    const before = (await api.get(`${B}?limit=200`)).body.bookings.length
    const { status, body, headers } = await api.post(B, booking(changes))
    expect(status).toBe(422)
    expect(headers.get('content-type')).toMatch(/^application\/problem\+json/)
    expect(body).toMatchObject({ status: 422, code: 'bad-input' })
    expect(body.field ?? '').toBe(field)
    expect(body.detail.length).toBeGreaterThan(10)
    expect((await api.get(`${B}?limit=200`)).body.bookings).toHaveLength(before)
  })

  it('names what may stand instead of a date', async () => {
    const { body } = await api.post(B, booking({ cycle: { lmp: 'expecting' } }))
    for (const choice of ['"unknown"', '"no-periods"', '"pregnant"']) expect(body.detail).toContain(choice)
  })

  it('lists every fault of a form at once', async () => {
    const { body } = await api.post(B, { patient: { name: '', phone: '1' }, cycle: { lmp: 'last week' } })
    expect(body.faults.map(({ field }: { field: string }) => field)).toEqual(
      expect.arrayContaining(['visit', 'patient.name', 'patient.phone', 'cycle.lmp']),
    )
  })

  it('refuses malformed JSON, other formats and oversize bodies', async () => {
    expect(await api.post(B, '{"visit":')).toMatchObject({ status: 400, body: { code: 'bad-json' } })
    expect(await api.post(B, 'visit=now', { 'Content-Type': 'application/x-www-form-urlencoded' })).toMatchObject({
      status: 415,
      body: { code: 'not-json' },
    })
    expect(await api.post(B, booking({ by: 'x'.repeat(70_000) }))).toMatchObject({
      status: 413,
      body: { code: 'too-large' },
    })
  })

  it('repeats its answer for a repeated Idempotency-Key, and refuses the key for another request', async () => {
    const key = { 'Idempotency-Key': 'key-for-one-booking' }
    const same = booking()
    const first = await api.post(B, same, key)
    const second = await api.post(B, same, key)
    expect(second.body).toEqual(first.body)
    expect(second.headers.get('idempotency-replayed')).toBe('true')
    expect(await api.post(B, booking(), key)).toMatchObject({ status: 409, body: { code: 'key-reused' } })
  })

  it('books once when the same request arrives ten times at the same moment', async () => {
    const same = booking()
    const answers = await Promise.all(
      Array.from({ length: 10 }, () => api.post(B, same, { 'Idempotency-Key': 'ten-at-once-key' })),
    )
    expect(new Set(answers.map(({ body }) => body.booking?.id)).size).toBe(1)
    expect(answers.every(({ status }) => status === 201)).toBe(true)
  })

  it('gives one time to one of many patients, and tells the others with 409', async () => {
    const answers = await Promise.all(
      Array.from({ length: 12 }, () => api.post(B, booking({ visit: '2026-03-27T10:00', clinician: '' }))),
    )
    expect(answers.filter(({ status }) => status === 201)).toHaveLength(1)
    expect(answers.filter(({ status, body }) => status === 409 && body.code === 'time-taken')).toHaveLength(11)
  })

  it('refuses a second visit of one patient at the same time', async () => {
    const one = booking({ visit: '2026-03-27T11:00' })
    await api.post(B, one)
    expect(await api.post(B, { ...one, clinician: 'room 2' })).toMatchObject({
      status: 409,
      body: { code: 'already-booked' },
    })
  })

  it('reads one booking with its messages and what happened', async () => {
    const { body } = await api.post(B, booking())
    const read = await api.get(`${B}/${body.booking.id}`)
    expect(read.body.messages.length).toBeGreaterThan(0)
    expect(read.body.trail[0]).toMatchObject({ what: 'booked', by: 'desk' })
    expect((await api.get(`${B}/b_nothing`)).status).toBe(404)
  })

  it('lists by day and state, page by page, in order, each visit once', async () => {
    const day = '2026-05-06'
    for (let i = 0; i < 7; i++) await api.post(B, booking({ visit: `${day}T1${i}:00` }))
    const seen: string[] = []
    let cursor = ''
    do {
      const { body } = await api.get(`${B}?clinic=harbour&day=${day}&limit=3${cursor}`)
      seen.push(...body.bookings.map(({ visit }: { visit: string }) => visit))
      cursor = body.next ? `&cursor=${body.next}` : ''
    } while (cursor)
    expect(seen).toEqual([0, 1, 2, 3, 4, 5, 6].map((i) => `${day}T1${i}:00:00-03:00`))
    expect((await api.get(`${B}?cursor=nonsense`)).status).toBe(422)
  })

  it('amends: a new time frees the old one, new dates change the timing', async () => {
    const { body } = await api.post(B, booking({ visit: '2026-03-30T13:00' }))
    const amended = await api.patch(`${B}/${body.booking.id}`, { visit: '2026-04-15T13:00' })
    expect(amended.body.booking.visit).toBe('2026-04-15T13:00:00-03:00')
    const openings = await api.get('/api/v1/openings?clinic=harbour&from=2026-03-30&to=2026-03-31')
    expect(openings.body.openings.map(({ at }: { at: string }) => at)).toContain('2026-03-30T13:00:00-03:00')
    const redated = await api.patch(`${B}/${body.booking.id}`, { cycle: { lmp: '2026-03-05' } })
    expect(redated.body.timing.cycleDay).not.toBe(amended.body.timing.cycleDay)
    // An hour alone is a time by ISO 8601 too, and refused: a slip is likelier.
    for (const visit of ['2020-01-01T09:00', '2026-03-20T10', '2026-03-20T'])
      expect((await api.patch(`${B}/${body.booking.id}`, { visit })).status, visit).toBe(422)
  })

  it('cancels once and for all', async () => {
    const { body } = await api.post(B, booking())
    const path = `${B}/${body.booking.id}`
    expect((await api.post(`${path}/cancel`, { by: 'desk' })).body.booking.state).toBe('cancelled')
    expect((await api.post(`${path}/cancel`, {})).status).toBe(200)
    expect(await api.patch(path, { clinician: 'room 3' })).toMatchObject({ status: 409, body: { code: 'too-late' } })
    expect((await api.get(`${B}?state=cancelled`)).body.bookings.map(({ id }: { id: string }) => id)).toContain(
      body.booking.id,
    )
  })

  it('manages openings and closes follow-ups with who and what', async () => {
    const added = await api.post('/api/v1/openings', {
      clinic: 'harbour',
      at: ['2026-06-01T09:00', '2026-06-01T09:00'],
    })
    expect(added.body).toMatchObject({ existed: ['2026-06-01T09:00'] })
    expect((await api.delete(`/api/v1/openings/${added.body.added[0].id}`)).status).toBe(204)
    expect((await api.delete(`/api/v1/openings/${added.body.added[0].id}`)).status).toBe(409)
    const { body } = await api.get('/api/v1/follow-ups')
    const [first] = body.followUps
    expect(first).toMatchObject({
      reason: expect.any(String),
      todo: expect.any(String),
      ageMinutes: expect.any(Number),
    })
    const closed = await api.post(`/api/v1/follow-ups/${first.id}/close`, { by: 'RN desk 2', outcome: 'called, moved' })
    expect(closed.body.followUp.closed).toMatchObject({ by: 'RN desk 2', outcome: 'called, moved' })
    expect((await api.post(`/api/v1/follow-ups/${first.id}/close`, { by: 'x', outcome: 'y' })).status).toBe(409)
  })

  it('describes itself in OpenAPI 3.1, every operation with its answers', async () => {
    const { body } = await api.get('/api/v1/openapi.json')
    expect(body.openapi).toBe('3.1.0')
    for (const [path, operations] of Object.entries<
      Record<string, { responses: object; parameters?: { name: string }[] }>
    >(body.paths)) {
      for (const operation of Object.values(operations)) {
        expect(Object.keys(operation.responses).length).toBeGreaterThan(1)
        const named = [...path.matchAll(/\{(\w+)\}/g)].map(([, name]) => name)
        expect(operation.parameters?.map(({ name }) => name) ?? []).toEqual(expect.arrayContaining(named))
      }
    }
    expect(body.paths['/bookings'].post.requestBody.content['application/json'].schema.required).toEqual(
      expect.arrayContaining(['visit', 'patient', 'cycle']),
    )
  })

  it('answers what does not exist with a problem, and tells nothing of its insides', async () => {
    const { status, body } = await api.get('/api/v1/nothing')
    expect(status).toBe(404)
    expect(JSON.stringify(body)).not.toMatch(/node_modules|\.ts/)
  })
})

describe('the key of the API', () => {
  let world: TestWorld
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  it('is required where one is set', async () => {
    const api = await serveApi(world, 'a-long-enough-key')
    expect((await api.get('/api/v1/bookings')).status).toBe(401)
    expect((await api.get('/api/v1/bookings', { Authorization: 'Bearer wrong' })).status).toBe(401)
    expect((await api.get('/api/v1/bookings', { Authorization: 'Bearer a-long-enough-key' })).status).toBe(200)
    await api.close()
  })

  it('without one, a request must come under a local name', async () => {
    const api = await serveApi(world)
    const { request } = await import('node:http')
    const status = await new Promise((done) =>
      request(`${api.base}/api/v1/bookings`, { headers: { Host: 'evil.example' } }, ({ statusCode }) =>
        done(statusCode),
      ).end(),
    )
    expect(status).toBe(401)
    await api.close()
  })
})
