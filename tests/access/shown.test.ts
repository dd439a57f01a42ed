import express from 'express'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { holdBack } from '../../src/adapters/http/access/hold-back.ts'
import { openFollowUp } from '../../src/flows/calls/follow-ups.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'
import { API_KEY, bearer, cookieOf, hire, listenOn, serveClosed, type Asked, type Served } from './signed-in.ts'

const NAME = 'Fenwick'

describe('whom an answer showed', () => {
  let world: TestWorld
  let served: Served
  let clerk: Record<string, string>
  let clinician: Record<string, string>
  let booking: { id: string; patientId: string }
  let other: { id: string; patientId: string }
  const admin = bearer(API_KEY)
  const newest = async (limit = 1) => world.deps.access.read.audit.list({ limit })

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
    const hired = await hire(world, { login: 'curious-clerk', role: 'desk', clinicId: 'harbour' })
    clerk = await cookieOf(world, hired.id)
    const tied = await hire(world, { login: 'clin', role: 'clinician', clinicId: 'harbour' })
    clinician = await cookieOf(world, tied.id)
    const booked = await world.book({ visit: '2026-03-25T09:00' })
    booking = booked.booking
    other = (await world.book({ visit: '2026-03-25T10:00', name: 'Bea Marsh', phone: '782 555 0102' })).booking
    await world.deps.store.transact((tx) => openFollowUp(tx, world.deps, { clinic: CLINIC, ...booked }, 'no-consent'))
    await world.reply('+17825550101', 'what is this about')
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const SHOWN: [string, () => Record<string, string>, string, Asked?][] = [
    ['the list of bookings', () => clerk, '/desk/harbour/bookings?from=2026-03-25'],
    ['a search', () => clerk, '/desk/harbour/find', { form: { q: NAME } }],
    ['the call list', () => clerk, '/desk/harbour/calls'],
    ['the day sheet', () => clerk, '/desk/harbour/day-sheet?date=2026-03-25'],
    ['the day sheet of who may open no visit', () => clinician, '/desk/harbour/day-sheet?date=2026-03-25'],
    ['the list of replies', () => clerk, '/desk/harbour/replies'],
    ['a number known to the clinic', () => clerk, '/desk/harbour/book/look', { form: { phone: '782 555 0101' } }],
    [
      'a number whose patient is named already',
      () => clerk,
      '/desk/harbour/book/look',
      { form: { phone: '782 555 0101', name: 'Ada Fenwick' } },
    ],
    ['bookings by the API', () => admin, '/api/v1/bookings?clinic=harbour'],
    ['one booking by the API', () => admin, '/api/v1/bookings/{booking}'],
    ['follow-ups by the API', () => admin, '/api/v1/follow-ups?clinic=harbour'],
    ['everything held', () => admin, '/api/v1/patients/{patient}/export'],
    ['one visit', () => clerk, '/desk/harbour/visits/{booking}'],
    ['a conversation', () => clerk, '/desk/harbour/replies/{patient}'],
    ['the paper for a day', () => clerk, '/desk/harbour/prints/paper'],
    ['the paper for a day as a file', () => clerk, '/desk/harbour/prints/file'],
    ['calls for one reason', () => clerk, '/desk/harbour/calls/alike/no-consent'],
    ['calls for one reason as a file', () => clerk, '/desk/harbour/calls/alike/no-consent/file'],
  ]

  it.each(SHOWN)('is on record by the patient: %s', async (_what, who, path, asked = {}) => {
    const before = (await newest())[0]!.seq
    const at = path.replace('{booking}', booking.id).replace('{patient}', booking.patientId)
    const { status, text } = await served.ask(at, { ...asked, headers: who() })
    expect(status).toBe(200)
    expect(text.includes(NAME) || text.includes(booking.patientId)).toBe(true)
    const found = JSON.parse(
      (await served.ask(`/api/v1/audit?subject=${booking.patientId}&limit=2`, { headers: admin })).text,
    ) as { entries: { seq: number; what: string; actorId: string }[] }
    // Looking for the patient in the record is itself on record.
    const entry = found.entries.find(({ what }) => what !== 'GET /api/v1/audit')
    expect(entry!.seq).toBeGreaterThan(before)
  })

  it('and nobody besides', async () => {
    await served.ask(`/desk/harbour/visits/${booking.id}`, { headers: clerk })
    const [entry] = await newest()
    expect(entry!.subjects).toEqual(expect.arrayContaining([booking.id, booking.patientId]))
    expect(entry!.subjects).not.toContain(other.patientId)
    await served.ask('/desk/harbour/bookings?from=2026-03-26', { headers: clerk })
    expect((await newest())[0]!.subjects).toEqual([])
  })

  it('an id that a patient has made up names nobody', async () => {
    const madeUp = `p_${'0'.repeat(19)}`
    await world.reply('+17825550101', `hello ${madeUp} there`)
    const page = await served.ask(`/desk/harbour/replies/${booking.patientId}`, { headers: clerk })
    expect(page.text).toContain(madeUp)
    expect((await newest())[0]!.subjects).toContain(booking.patientId)
    expect((await newest())[0]!.subjects).not.toContain(madeUp)
  })

  it('a change is written down before, and whom its answer shows besides after', async () => {
    const { status, text } = await served.ask('/api/v1/bookings', {
      headers: admin,
      json: {
        clinic: 'harbour',
        visit: '2026-03-26T09:00',
        patient: { name: 'Cora Tarn', phone: '+17825550103', language: 'en' },
        cycle: { lmp: '2026-03-02' },
        consent: { recordedBy: 'desk' },
      },
    })
    expect([status, text]).toEqual([201, expect.any(String)])
    const made = JSON.parse(text) as { booking: { id: string; patient: { id: string } } }
    const [after, before] = await newest(2)
    expect(before).toMatchObject({ what: 'POST /api/v1/bookings', subjects: [] })
    expect(after).toMatchObject({ what: 'POST /api/v1/bookings', facts: { shown: true } })
    expect(after!.subjects).toEqual(expect.arrayContaining([made.booking.id, made.booking.patient.id]))
  })

  it('a change of a visit is on record by its patient before it is made', async () => {
    await served.ask(`/desk/harbour/visits/${other.id}/cancel`, { headers: clerk, form: {} })
    const entries = await newest(3)
    const first = entries.find(({ what, facts }) => what.startsWith('POST') && facts.shown === undefined)
    expect(first!.subjects).toEqual([other.id, other.patientId])
  })

  it('also of what is not there, by what was asked for', async () => {
    const gone = `b_${'1'.repeat(19)}`
    expect((await served.ask(`/api/v1/bookings/${gone}`, { headers: admin })).status).toBe(404)
    expect((await newest())[0]).toMatchObject({ what: 'GET /api/v1/bookings/{id}', subjects: [gone] })
    const refused = await served.ask('/api/v1/audit', { headers: clerk })
    expect(refused.status).toBe(403)
    expect((await newest())[0]!.facts.refused).toBe('forbidden')
  })

  it('HEAD shows nothing, and is on record as it was asked', async () => {
    const { status, text } = await served.ask(`/api/v1/bookings/${booking.id}`, { method: 'HEAD', headers: admin })
    expect([status, text]).toEqual([200, ''])
    expect((await newest())[0]).toMatchObject({
      what: 'HEAD /api/v1/bookings/{id}',
      subjects: [booking.id, booking.patientId],
    })
  })

  it('the record itself tells ids alone: who reads it has seen nobody', async () => {
    await served.ask(`/api/v1/audit?actor=environment`, { headers: admin })
    expect((await newest())[0]).toMatchObject({ what: 'GET /api/v1/audit', subjects: [] })
  })

  it('where that cannot be written down, the answer is a fault, by page, API and file', async () => {
    const { records } = world.composed.database
    const { rows } = await records.query('delete from daysix.audit_head returning seq, hash')
    const [head] = rows
    for (const [path, headers] of [
      ['/desk/harbour/bookings?from=2026-03-25', clerk],
      ['/desk/harbour/calls/alike/no-consent/file', clerk],
      ['/api/v1/bookings?clinic=harbour', admin],
    ] as const) {
      const told = await served.ask(path, { headers })
      expect([path, told.status]).toEqual([path, 500])
      expect(told.text).not.toContain(NAME)
      expect(told.headers.get('Content-Disposition')).toBeNull()
    }
    await records.query('insert into daysix.audit_head (seq, hash) values ($1, $2)', [head!.seq, head!.hash])
    expect((await served.ask('/api/v1/bookings?clinic=harbour', { headers: admin })).status).toBe(200)
  })
})

describe('an answer that is held back', () => {
  it('waits for what must come first, also where it is sent in parts', async () => {
    const seen: string[] = []
    const app = express()
    app.use((_request, response, next) => {
      const slowly = async (body: string) => {
        await new Promise((done) => setTimeout(done, 20))
        seen.push(body)
        if (body.includes('secret')) throw new Error('not recorded')
      }
      holdBack(response, slowly, next)
      next()
    })
    app.get('/parts', (_request, response) => {
      response.write('one ')
      response.write(Buffer.from('two '))
      response.end('three')
      response.end('again')
    })
    app.get('/none', (_request, response) => void response.status(204).end())
    app.get('/secret', (_request, response) => void response.set('X-Name', 'Ada').status(201).send('secret'))
    app.use(((_error, _request, response, _next) => {
      response.status(500).send('fault')
    }) satisfies express.ErrorRequestHandler)
    const { ask, close } = await listenOn(app)
    expect(await ask('/parts')).toMatchObject({ status: 200, text: 'one two three' })
    expect(await ask('/none')).toMatchObject({ status: 204, text: '' })
    const told = await ask('/secret')
    expect(told).toMatchObject({ status: 500, text: 'fault' })
    expect(told.headers.get('X-Name')).toBeNull()
    expect(seen).toEqual(['one two three', '', 'secret'])
    await close()
  })
})

describe('a page that refreshes itself', () => {
  it('is written down once an hour, and at once when somebody new appears', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    const served = await serveClosed(world)
    const { id } = await hire(world, { login: 'busy-clerk', role: 'desk', clinicId: 'harbour' })
    const { patient } = await world.book({ visit: '2026-03-25T10:00' })
    const path = '/desk/harbour/bookings?from=2026-03-25'
    const looks = async () => (await world.deps.access.read.audit.list({ subject: patient.id, limit: 100 })).length
    const open = async (more = {}) => {
      const headers = { ...(await cookieOf(world, id)), ...more }
      expect((await served.ask(path, { headers })).status).toBe(200)
      return looks()
    }
    const refreshed = { 'HX-Request': 'true' }
    expect(await open()).toBe(1)
    for (let n = 0; n < 5; n++) expect(await open(refreshed)).toBe(1)
    expect(await open()).toBe(2)
    await world.book({ visit: '2026-03-25T11:00', name: 'Cleo Tarn', phone: '782 555 0103' })
    expect(await open(refreshed)).toBe(3)
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 61 * 60_000))
    expect(await open(refreshed)).toBe(4)
    await served.close()
    await world.close()
  })
})
