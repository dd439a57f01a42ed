import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApiKey } from '../../../../src/adapters/sign-in/api-keys.ts'
import { FOLLOW_UP_REASONS } from '../../../../src/domain/calls/follow-up-reasons.ts'
import type { FollowUpReason } from '../../../../src/domain/calls/follow-up.ts'
import { MESSAGE_STATES } from '../../../../src/domain/messages/message.ts'
import { communicationOf } from '../../../../src/adapters/schedule/fhir/emit/communication.ts'
import { taskOf } from '../../../../src/adapters/schedule/fhir/emit/task.ts'
import { cancelBooking } from '../../../../src/flows/visits/amend-booking.ts'
import { recordOutcome } from '../../../../src/flows/visits/record-outcome.ts'
import { accessDeps, API_KEY, bearer, BY, serveClosed, type Served } from '../../../access/signed-in.ts'
import { TestWorld } from '../../../harness/world.ts'
import { faultsIn } from './referees.ts'

interface Bundle {
  resourceType: string
  link: { relation: string; url: string }[]
  entry?: { resource: Record<string, unknown> & { id: string; status: string } }[]
}

let world: TestWorld
let served: Served
const visits: Record<string, string> = {}

async function find(path: string, key = API_KEY, status = 200): Promise<Bundle> {
  const answer = await fetch(path.startsWith('http') ? path : `${served.base}/api/v1/fhir/${path}`, {
    headers: bearer(key),
  })
  const body = (await answer.json()) as Bundle
  expect({ path, status: answer.status, body, faults: faultsIn(body) }).toEqual({ path, status, body, faults: [] })
  expect(answer.headers.get('content-type')).toBe('application/fhir+json; charset=utf-8')
  return body
}
const found = async (path: string, key?: string) =>
  ((await find(path, key)).entry ?? []).map(({ resource }) => resource)
const written = (id: string) => id.replace('_', '-')

beforeAll(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z')
  await world.putClinic({}, 'ridge')
  const book = async (name: string, visit: string, phone: string, more: object = {}) => {
    visits[name] = (await world.book({ visit, phone, name: `Patient ${name}`, ...more })).booking.id
  }
  await book('past', '2026-03-10T09:00', '782 555 0101')
  await book('absent', '2026-03-10T10:00', '782 555 0102')
  await book('cancelled', '2026-03-25T09:00', '782 555 0103')
  await book('booked', '2026-03-26T09:00', '782 555 0104', { clinician: 'Room 1' })
  await book('stopped', '2026-03-27T09:00', '782 555 0105')
  await book('elsewhere', '2026-03-26T09:00', '782 555 0106', { clinic: 'ridge' })
  await world.openings('2026-03-30T09:00', '2026-03-31T09:00')
  await cancelBooking(world.deps, visits['cancelled']!, 'desk')
  await world.passUntil('2026-03-11T15:00:00Z', 240)
  await recordOutcome(world.deps, visits['past']!, { kind: 'not-collected', because: 'bleeding', by: 'desk' })
  await recordOutcome(world.deps, visits['absent']!, { kind: 'absent', because: null, by: 'desk' })
  await world.reply('+17825550105', 'STOP')
  await world.reply('+17825550104', 'I am bleeding a lot and feel faint')
  served = await serveClosed(world)
})
afterAll(async () => {
  await served.close()
  await world.close()
})

describe('visits', () => {
  it('are found by time, status and place, each in its state', async () => {
    const all = await found('Appointment?location=harbour')
    expect(all.map(({ id, status }) => [id, status])).toEqual([
      [written(visits['past']!), 'fulfilled'],
      [written(visits['absent']!), 'noshow'],
      [written(visits['cancelled']!), 'cancelled'],
      [written(visits['booked']!), 'booked'],
      [written(visits['stopped']!), 'booked'],
    ])
    const ids = async (query: string) => (await found(`Appointment?${query}`)).map(({ id }) => id)
    expect(await ids('location=Location/harbour&date=2026-03-26')).toEqual([written(visits['booked']!)])
    expect(await ids('location=harbour&date=ge2026-03-26&date=lt2026-03-27')).toEqual([written(visits['booked']!)])
    // FHIR R4 search.html: gt of a day begins after it, le ends with it.
    expect(await ids('location=harbour&date=gt2026-03-25&date=le2026-03-26')).toEqual([written(visits['booked']!)])
    expect(await ids('location=harbour&date=2026-03-26T12:00:00Z')).toEqual([written(visits['booked']!)])
    expect(await ids('status=noshow,fulfilled')).toHaveLength(2)
    expect(await ids('status=cancelled')).toEqual([written(visits['cancelled']!)])
  })

  it('are told a page at a time, none twice and none left out', async () => {
    const seen: string[] = []
    for (let next: string | undefined = 'Appointment?_count=2'; next !== undefined;) {
      const { entry = [], link }: Bundle = await find(next)
      seen.push(...entry.map(({ resource }) => resource.id))
      next = link.find(({ relation }) => relation === 'next')?.url
    }
    expect(seen.toSorted()).toEqual(Object.values(visits).map(written).toSorted())
  })

  it('tell of the patient a name and a number, and nothing of cycles, reasons or what was written', async () => {
    const one = await find(`Appointment/${written(visits['booked']!)}`)
    expect(one).toMatchObject({
      contained: [
        { resourceType: 'Patient', name: [{ text: 'Patient booked' }], telecom: [{ value: '+17825550104' }] },
      ],
    })
    const all = JSON.stringify(await found('Appointment'))
    expect(all).not.toMatch(/bleed|lmp|cycle|faint|p_[0-9a-z]{19}/i)
  })

  it.each([
    ...['date=yesterday', 'date=ne2026-03-26', 'status=late', 'patient=x', '_cursor=x', '_count=x', 'location=nowhere'],
    'date=ge2026&date=lt2027&date=gt2025',
  ])('are not searched by %s', async (query) => {
    const body = await find(`Appointment?${query}`, API_KEY, query === 'location=nowhere' ? 404 : 400)
    expect(body.resourceType).toBe('OperationOutcome')
  })

  it('that do not exist are not found', async () => {
    await find(`Appointment/${written(visits['booked']!)}0`, API_KEY, 404)
    await find(`Appointment/${visits['booked']!}`, API_KEY, 404)
    await find('Patient/x', API_KEY, 404)
  })
})

describe('times', () => {
  it('are free, held or busy, and say nothing of who has them', async () => {
    const all = await found('Slot?location=harbour&start=ge2026-03-01')
    expect(new Set(all.map(({ status }) => status))).toEqual(new Set(['free', 'busy']))
    expect(JSON.stringify(all)).not.toMatch(/Patient/)
    const free = await found('Slot?location=harbour&status=free')
    expect(free.map(({ start }) => start)).toContain('2026-03-30T12:00:00.000Z')
    await find('Slot', API_KEY, 400)
  })

  it('are told a page at a time', async () => {
    const all = (await found('Slot?location=harbour&start=ge2026-03-01')).map(({ id }) => id)
    const seen: string[] = []
    for (let next: string | undefined = 'Slot?location=harbour&start=ge2026-03-01&_count=2'; next !== undefined;) {
      const { entry = [], link }: Bundle = await find(next)
      seen.push(...entry.map(({ resource }) => resource.id))
      next = link.find(({ relation }) => relation === 'next')?.url
    }
    expect(seen).toEqual(all)
  })
})

describe('messages', () => {
  it('of a visit say how they stand', async () => {
    const past = await found(`Communication?about=Appointment/${written(visits['past']!)}`)
    expect(past.find(({ status }) => status === 'completed')).toMatchObject({ sent: expect.any(String) as string })
    const stopped = await found(`Communication?about=Appointment/${written(visits['stopped']!)}`)
    const not = stopped.filter(({ status }) => status === 'not-done')
    expect(not.length).toBeGreaterThan(0)
    expect(JSON.stringify(not)).toContain('patient-objection')
    await find('Communication', API_KEY, 400)
  })

  it('in every state are good FHIR', async () => {
    const [one] = await world.deps.store.read.messages.ofBooking(visits['past']!)
    for (const state of MESSAGE_STATES)
      for (const objectedAt of [null, new Date(0)])
        for (const channel of ['sms', 'voice', 'email'] as const) {
          const told = communicationOf({ ...one!, bookingId: one!.bookingId!, state, channel }, objectedAt)
          expect({ state, channel, faults: faultsIn(told) }).toEqual({ state, channel, faults: [] })
        }
  })
})

describe('open calls', () => {
  it('say what is to be done, never what a patient wrote, nor why', async () => {
    const all = await found('Task?location=harbour')
    expect(all.length).toBeGreaterThan(1)
    expect(JSON.stringify(all)).not.toMatch(/bleed|faint|alarm|period|STOP|Patient b/)
    expect(all[0]).toMatchObject({ priority: 'stat', code: { coding: [{ code: 'call-at-once' }] } })
    const there = (await found('Task?location=ridge')).map(
      ({ location }) => (location as { reference: string }).reference,
    )
    expect(new Set(there)).toEqual(new Set(['Location/ridge']))
    const { entry = [] } = await find('Task?_count=1')
    expect(entry.map(({ resource }) => resource['resourceType'])).toEqual(['Task', 'OperationOutcome'])
  })

  it('for every reason are good FHIR, and no reason can be told from them', async () => {
    const [one] = await world.deps.store.read.followUps.list({ open: true, limit: 1 })
    for (const reason of Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]) {
      const told = taskOf({ ...one!, reason, openedAt: new Date(0) }, { id: 'harbour', name: 'Harbour' })
      expect({ reason, faults: faultsIn(told) }).toEqual({ reason, faults: [] })
      expect(JSON.stringify(told)).not.toMatch(/bleed|period|died|pregnan|alarm/i)
    }
  })
})

describe('whoever is tied to a clinic', () => {
  it('sees that clinic only', async () => {
    const make = { name: 'harbour', may: ['visits:read', 'calls:read'], clinicId: 'harbour', expiresAt: null } as const
    const { secret } = await makeApiKey(accessDeps(world), { ...make, may: [...make.may] }, BY)
    await find('Appointment', secret, 403)
    await find('Appointment?location=ridge', secret, 403)
    await find('Appointment?location=harbour&location=ridge', secret, 403)
    await find('Appointment?location=https://x.example/Location/ridge', secret, 403)
    await find('Slot?location=ridge', secret, 403)
    await find('Task?location=ridge', secret, 403)
    await find('Appointment?clinic=harbour', secret, 400)
    await find(`Appointment/${written(visits['elsewhere']!)}`, secret, 404)
    await find(`Communication?about=Appointment/${written(visits['elsewhere']!)}`, secret, 404)
    expect(await found('Appointment?location=harbour', secret)).toHaveLength(5)
    await find(`Appointment/${written(visits['booked']!)}`, secret)
    await find('metadata', secret)
  })

  it('is on record with whom was seen', async () => {
    await find(`Appointment/${written(visits['booked']!)}`)
    const entries = await world.deps.access.read.audit.list({ limit: 5 })
    const last = entries.find(({ what }) => what === 'GET /api/v1/fhir/Appointment/{id}')
    expect(last?.subjects).toContain(visits['booked'])
    const { patientId } = (await world.deps.store.read.bookings.get(visits['booked']!))!
    expect(last?.subjects).toContain(patientId)
  })
})
