import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { TestWorld } from '../harness/world.ts'
import { BY, accessDeps, bearer, cookieOf, hire, serveClosed, type Served } from '../access/signed-in.ts'

// A clerk, and a key, of another clinic that book a number known here: broken object level access, OWASP API1:2023.
// Invented people at a number reserved for fiction.
const HER = '+17825550142'
const WRITTEN = '782 555 0142'

describe('a clinic that books a number known to another clinic', () => {
  let world: TestWorld
  let served: Served
  let clerk: Record<string, string>
  let key: Record<string, string>
  let at: { harbour: { booking: string; patient: string } }
  let answers: string

  const book = async (name: string, changes: Record<string, unknown> = {}) => {
    const patient = { name, phone: WRITTEN, ...(changes.patient as object) }
    const json = {
      clinic: 'ridge',
      visit: '2026-03-27T09:00',
      cycle: { lmp: '2026-03-09' },
      consent: { recordedBy: 'desk' },
      ...changes,
      patient,
    }
    const told = await served.ask('/api/v1/bookings', { json, headers: key })
    return { ...told, body: JSON.parse(told.text) }
  }
  const atHarbour = async () => ({
    patient: (await world.deps.store.read.patients.get(at.harbour.patient))!,
    planned: (await world.deps.store.read.messages.ofBooking(at.harbour.booking)).filter(
      ({ state }) => state === 'planned',
    ),
    consents: await world.deps.store.read.patients.consents(at.harbour.patient),
  })

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    const { booking } = await world.book({
      ...{ visit: '2026-03-25T09:00', clinic: 'harbour', name: 'Ada Fenwick', phone: WRITTEN },
      cycle: { status: 'cycling', lmp: '2026-02-11', usualCycleDays: 28 },
    })
    at = { harbour: { booking: booking.id, patient: booking.patientId } }
    await world.reply(HER, 'my period started today, SECRETWORDS')
    await world.reply(HER, 'purple elephants SECRETAGAIN')
    const { id } = await hire(world, { login: 'ridge-desk', role: 'desk', clinicId: 'ridge' })
    clerk = await cookieOf(world, id)
    const writer = await makeApiKey(
      accessDeps(world),
      {
        name: 'writer',
        may: ['visits:write'],
        clinicId: 'ridge',
        expiresAt: null,
      },
      BY,
    )
    key = bearer(writer.secret)
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('learns nothing from the answer: neither the date told there nor what was known before', async () => {
    const before = await atHarbour()
    const booked = await book('Ada Fenwick')
    expect(booked.status).toBe(201)
    answers = booked.text
    expect(answers).not.toMatch(/2026-02-11/)
    expect(booked.body.patient?.id ?? booked.body.booking.patient.id).not.toBe(at.harbour.patient)
    expect(await atHarbour()).toEqual(before)
  })

  it('changes nothing there: not language, detail, name, cycle, number or consent', async () => {
    const before = await atHarbour()
    const second = await book('ADA  FENWICK', {
      visit: '2026-03-30T09:00',
      cycle: { lmp: 'unknown' },
      patient: { language: 'fr', detail: 'discreet', channel: 'voice' },
    })
    expect(second.status).toBe(201)
    const id = second.body.booking.id as string
    const patched = await served.ask(`/api/v1/bookings/${id}`, {
      method: 'PATCH',
      json: { patient: { phone: '782 555 0198' } },
      headers: key,
    })
    expect(patched.status).toBe(200)
    const patientId = (await world.deps.store.read.bookings.get(id))!.patientId
    await served.ask(`/api/v1/patients/${patientId}/consent/withdraw`, { json: {}, headers: key })
    expect(await atHarbour()).toEqual(before)
  })

  it('sees nothing of the conversation, on any page', async () => {
    const booked = await book('Somebody Else', { visit: '2026-03-31T09:00' })
    const { patientId } = (await world.deps.store.read.bookings.get(booked.body.booking.id))!
    const [reply] = await world.deps.store.read.replies.fromPhone(HER, new Date(0))
    const pages = [
      'replies',
      `replies/${patientId}`,
      `replies/${reply!.id}`,
      `replies/${at.harbour.patient}`,
      'calls',
      'bookings',
      `visits/${booked.body.booking.id}`,
    ]
    for (const page of pages) {
      const { text } = await served.ask(`/desk/ridge/${page}`, { headers: clerk })
      expect(text, page).not.toMatch(/SECRETWORDS|SECRETAGAIN/)
    }
  })

  it('does not hear what is answered to the other clinic', async () => {
    // The other clinic writes last: the text is an answer to it, and about its visit only.
    const { amendBooking } = await import('../../src/flows/visits/amend-booking.ts')
    await amendBooking(world.deps, at.harbour.booking, { visit: '2026-03-26T09:20', by: 'desk' })
    await world.passUntil(new Date(world.clock.now().getTime() + 60_000).toISOString())
    await world.reply(HER, 'I cannot come that day, SECRETTHIRD')
    const reply = (await world.deps.store.read.replies.fromPhone(HER, new Date(0))).at(-1)!
    expect([reply.clinicId, reply.bookingId]).toEqual(['harbour', at.harbour.booking])
    expect((await served.ask('/desk/ridge/replies', { headers: clerk })).text).not.toMatch(/SECRETTHIRD/)
    expect((await served.ask('/desk/ridge/calls', { headers: clerk })).text).not.toMatch(/SECRETTHIRD/)
  })

  it('keeps its own facts of the number: STOP is everybody’s, and its words are read where they were written to', async () => {
    await world.reply(HER, 'STOP')
    expect(await world.deps.store.read.optOuts.has(HER)).toBe(true)
    const calls = (clinicId: string) => world.deps.store.read.followUps.list({ clinicId, open: true, limit: 100 })
    expect((await calls('harbour')).map(({ reason }) => reason)).toContain('opted-out')
    const there = (await calls('ridge')).filter(({ reason }) => reason === 'opted-out')
    expect(there.length).toBeGreaterThan(0)
    expect(there.every(({ detail }) => detail.words === undefined)).toBe(true)
  })
})
