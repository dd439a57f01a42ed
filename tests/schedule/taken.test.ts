import { readFileSync } from 'node:fs'
import { afterEach, describe, expect, it } from 'vitest'
import { readAny } from '../../src/adapters/schedule/read-any.ts'
import { checkAll } from '../../src/domain/schedule/check-all.ts'
import type { CheckLine } from '../../src/domain/schedule/check-line.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { keyOf, type ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import { erasePatient } from '../../src/flows/patients/erase-patient.ts'
import { retain } from '../../src/flows/patients/retention.ts'
import { withdrawConsent } from '../../src/flows/patients/withdraw-consent.ts'
import { takeNews } from '../../src/flows/schedule/take-news.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { BY } from '../access/signed-in.ts'
import { TestWorld } from '../harness/world.ts'
import { CONTEXT, FEED as HOSPITAL } from './invented-feed.ts'
import { FEED as EXAMPLE, newsAt } from './example-feed.ts'

// What follows of each message is tested in reconcile.test.ts; here it is carried out by the running service. What
// Daysix itself does with a booking, a move, a consent is tested in its own room: the expectations here are that the
// schedule ends in the same. Referee of the demo week: the command that shows what would happen.
const ADA = '+17825550101'
const FEED: Feed = { ...EXAMPLE, consent: { field: 'consent', yes: ['Y'] }, settleMinutes: 3 }
const worlds: TestWorld[] = []
afterEach(async () => {
  for (const world of worlds.splice(0)) await world.close()
})

async function worldOf(feed: Feed = FEED, start = '2026-03-09T13:00:00Z'): Promise<TestWorld> {
  const world = await TestWorld.create(start, undefined, [], { feeds: [feed], approved: ['en', 'fr'] })
  await world.putClinic({}, 'ridge')
  worlds.push(world)
  return world
}

const take = async (world: TestWorld, ...news: ScheduleNews[]): Promise<CheckLine[]> =>
  takeNews(
    world.deps,
    FEED.name,
    news.map((one) => ({ news: [one] })),
  )
const agreed = (minute: number, event: ScheduleNews['event'], more: Parameters<typeof newsAt>[2] = {}) =>
  newsAt(minute, event, { ...more, visit: { consent: true, ...more.visit } })
const bookings = (world: TestWorld) => world.deps.store.read.bookings.list({ limit: 100 })
const patientOf = async (world: TestWorld, id: string) => (await world.deps.store.read.patients.get(id))!
const openCalls = (world: TestWorld) => world.deps.store.read.followUps.list({ open: true, limit: 100 })
const messagesOf = async (world: TestWorld) =>
  (await Promise.all((await bookings(world)).map(({ id }) => world.deps.store.read.messages.ofBooking(id)))).flat()

const file = (name: string) => readFileSync(new URL(`../../demo/schedule/${name}`, import.meta.url))

describe('a schedule that is kept elsewhere', () => {
  it('ends in the bookings that the command shows, message by message, and does nothing when it comes again', async () => {
    const feed = { ...HOSPITAL, patientId: { authority: 'SKERRY', type: 'MR' }, testNames: ['ZZTEST'] }
    const hospital: Feed = { ...feed, clinicians: { N17: 'North', N21: 'South' }, languages: { en: 'en', fr: 'fr' } }
    const world = await worldOf(hospital, '2026-03-02T13:00:00Z')
    const reads = readAny(file('week.hl7'), 'week.hl7', hospital, CONTEXT)
    const shown = checkAll(reads, hospital, new Date('2026-03-02T13:00:00Z'))
    const lines: CheckLine[] = []
    for (const read of reads) {
      const madeAt = 'news' in read ? read.news[0]?.madeAt : null
      if (madeAt && madeAt > world.clock.now()) await world.clock.moveTo(madeAt)
      lines.push(...(await takeNews(world.deps, hospital.name, [read])))
    }
    expect(lines.map(({ does, key }) => ({ does, key }))).toEqual(shown.lines.map(({ does, key }) => ({ does, key })))
    const booked = (await bookings(world)).filter(({ state, outcome }) => state === 'booked' && !outcome)
    const ends = await Promise.all(
      booked.map(async ({ patientId, visitAt, clinicId, clinician, protocol, minutes }) => {
        const { name, ownNumber } = await patientOf(world, patientId)
        return { name, ownNumber, visitAt, clinicId, clinician, protocol, minutes }
      }),
    )
    const wanted = [...shown.known.applied.values()].map((visit) => ({
      ...{ name: visit.patient.name, ownNumber: visit.patient.ownNumber, visitAt: visit.startsAt },
      ...{ clinicId: visit.clinic, clinician: visit.clinician, protocol: visit.protocol, minutes: visit.minutes },
    }))
    const inOrder = (all: { visitAt: Date }[]) => all.sort((a, b) => a.visitAt.getTime() - b.visitAt.getTime())
    expect(ends.length).toBeGreaterThan(3)
    expect(inOrder(ends)).toEqual(inOrder(wanted))
    const before = JSON.stringify([await bookings(world), await messagesOf(world), await openCalls(world)])
    const again = await takeNews(world.deps, hospital.name, reads)
    expect(new Set(again.map(({ does }) => does))).toEqual(new Set(['nothing', 'refuse']))
    expect(JSON.stringify([await bookings(world), await messagesOf(world), await openCalls(world)])).toBe(before)
  })

  it('sends nothing without consent, and with it only once the visit has stayed as it is for a while', async () => {
    const world = await worldOf()
    await take(world, newsAt(0, 'booked'))
    expect(await world.reasons()).toContain('no-consent')
    await world.passUntil('2026-03-09T14:00:00Z', 5)
    expect(world.textsTo(ADA)).toEqual([])
    await take(world, agreed(70, 'changed'))
    expect(await world.reasons()).not.toContain('no-consent')
    await world.passUntil('2026-03-09T14:02:00Z', 1)
    expect(world.textsTo(ADA)).toEqual([])
    await world.passUntil('2026-03-09T14:10:00Z', 1)
    expect(world.textsTo(ADA)).toHaveLength(1)
  })

  it('tells once of a visit that is moved to and fro within minutes', async () => {
    const world = await worldOf()
    await take(world, agreed(0, 'booked'))
    await world.passUntil('2026-03-09T14:00:00Z', 5)
    const told = world.textsTo(ADA).length
    const moved = (minute: number, startsAt: string) =>
      agreed(minute, 'moved', { visit: { startsAt: new Date(startsAt) } })
    await take(world, moved(61, '2026-03-23T13:30:00Z'))
    await world.passUntil('2026-03-09T14:01:00Z', 1)
    await take(world, moved(62, '2026-03-24T14:00:00Z'))
    await world.passUntil('2026-03-09T15:00:00Z', 1)
    const texts = world.textsTo(ADA).slice(told)
    expect(texts).toHaveLength(1)
    expect(texts[0]).toContain('Mar 24')
    expect((await bookings(world)).map(({ visitAt }) => visitAt.toISOString())).toEqual(['2026-03-24T14:00:00.000Z'])
  })

  it('says once what a person must look at, without a name, and takes it back when the schedule tells more', async () => {
    const world = await worldOf()
    const unknown = (minute: number) => newsAt(minute, 'booked', { visit: { places: ['GYN9'] } })
    const [line] = await take(world, unknown(0))
    expect(line).toMatchObject({ does: 'hold', ack: 'AE' })
    const [call, ...more] = await openCalls(world)
    expect(more).toEqual([])
    expect(call).toMatchObject({ reason: 'schedule-unclear', bookingId: null, clinicId: null })
    expect(call!.detail.why).toContain('7001')
    expect(JSON.stringify(call)).not.toContain('Fenwick')
    expect((await take(world, unknown(1440)))[0]).toMatchObject({ does: 'nothing' })
    expect(await openCalls(world)).toHaveLength(1)
    expect((await take(world, newsAt(1500, 'changed')))[0]).toMatchObject({ does: 'book' })
    expect(await world.reasons()).not.toContain('schedule-unclear')
    expect(await bookings(world)).toHaveLength(1)
  })

  it('puts what cannot be booked here to a person, keeps the rest, and tries it again only when it is told otherwise', async () => {
    const world = await worldOf()
    const wrong = (minute: number) =>
      newsAt(minute, 'booked', {
        patient: { ids: [], name: 'Bea Lowther', phones: [{ number: '12', kind: 'mobile' }], language: 'ENG' },
        key: { id: '7002', namespace: 'SKERRY', occurrence: '' },
      })
    const lines = await take(world, newsAt(0, 'booked'), wrong(1), newsAt(2, 'changed', { visit: { minutes: 30 } }))
    expect(lines.map(({ does }) => does)).toEqual(['book', 'hold', 'amend'])
    expect((await bookings(world)).map(({ minutes }) => minutes)).toEqual([30])
    const calls = (await openCalls(world)).filter(({ reason }) => reason === 'schedule-unclear')
    expect(calls).toHaveLength(1)
    await world.deps.store.transact((tx) => tx.followUps.close(calls[0]!.id, 'desk', 'seen', world.clock.now()))
    expect((await take(world, wrong(1440)))[0]).toMatchObject({ does: 'nothing' })
    expect(await world.reasons()).not.toContain('schedule-unclear')
    const right = {
      ...wrong(1500),
      patient: { ...wrong(1500).patient!, phones: [{ number: '782 555 0102', kind: 'mobile' as const }] },
    }
    expect((await take(world, right))[0]).toMatchObject({ does: 'book' })
  })

  it('takes a visit that was typed in before for what it is', async () => {
    const world = await worldOf()
    const { booking } = await world.book({ visit: '2026-03-20T10:30' })
    expect((await take(world, newsAt(0, 'booked')))[0]).toMatchObject({ does: 'book' })
    expect((await bookings(world)).map(({ id }) => id)).toEqual([booking.id])
    await take(world, newsAt(5, 'moved', { visit: { startsAt: new Date('2026-03-23T13:30:00Z') } }))
    expect((await bookings(world)).map(({ id, visitAt }) => [id, visitAt.toISOString()])).toEqual([
      [booking.id, '2026-03-23T13:30:00.000Z'],
    ])
  })

  it('leaves what the desk changed here alone, until the schedule changes that very thing', async () => {
    const world = await worldOf()
    await take(world, newsAt(0, 'booked'))
    await amendBooking(world.deps, (await bookings(world))[0]!.id, {
      minutes: 45,
      patient: { name: 'Ada Fenwick-Lowther' },
      by: 'desk',
    })
    expect((await take(world, newsAt(1440, 'booked')))[0]).toMatchObject({ does: 'nothing' })
    await take(world, newsAt(1500, 'moved', { visit: { startsAt: new Date('2026-03-23T13:30:00Z') } }))
    const [booking] = await bookings(world)
    expect(booking).toMatchObject({ minutes: 45, visitAt: new Date('2026-03-23T13:30:00Z') })
    expect((await patientOf(world, booking!.patientId)).name).toBe('Ada Fenwick-Lowther')
  })

  it('cancels what is called off, keeps a no-show as one, and books again what comes back', async () => {
    const world = await worldOf()
    await take(world, agreed(0, 'booked'), agreed(1, 'cancelled'))
    expect((await bookings(world)).map(({ state }) => state)).toEqual(['cancelled'])
    await take(world, agreed(2, 'booked'))
    expect((await bookings(world)).map(({ state }) => state).sort()).toEqual(['booked', 'cancelled'])
    await world.passUntil('2026-03-20T16:00:00Z', 600)
    await take(world, newsAt(15_000, 'no-show', { visit: null, patient: null }))
    const ended = (await bookings(world)).find(({ state }) => state === 'booked')
    expect(ended?.outcome).toMatchObject({ kind: 'absent', by: 'schedule skerry' })
    expect(await world.reasons()).toContain('no-specimen')
  })

  it('follows a new number of the patient, a first day that is told, and a death', async () => {
    const world = await worldOf()
    await take(world, agreed(0, 'booked'))
    const ids = newsAt(0, 'booked').patient!.ids
    const person = (minute: number, told: object) =>
      newsAt(minute, 'patient', { key: null, visit: null, patient: { ids, ...told } })
    await take(world, person(1, { phones: [{ number: '782 555 0109', kind: 'fixed' }] }))
    const [booking] = await bookings(world)
    expect(await patientOf(world, booking!.patientId)).toMatchObject({ phone: '+17825550109', reach: 'calls-only' })
    await take(world, person(2, { lmp: { day: '2026-03-05', toldOn: '2026-03-08' } }))
    expect((await patientOf(world, booking!.patientId)).cycle).toMatchObject({ status: 'cycling', lmp: '2026-03-05' })
    await take(world, person(3, { died: true }))
    expect((await patientOf(world, booking!.patientId)).reportedDead).toBe(true)
    expect(await world.reasons()).toContain('died')
    const unsent = (await messagesOf(world)).filter(({ state }) => state === 'planned' || state === 'queued')
    expect(unsent).toEqual([])
  })

  it('withdraws consent that the schedule takes back', async () => {
    const world = await worldOf()
    await take(world, agreed(0, 'booked'))
    expect(await world.reasons()).not.toContain('no-consent')
    await take(world, newsAt(1, 'changed', { visit: { consent: false } }))
    expect(await world.reasons()).toContain('no-consent')
  })

  it('does not let a box that is ticked in the schedule undo what the patient withdrew, nor say it for a doubtful number', async () => {
    const world = await worldOf()
    await take(world, agreed(0, 'booked'))
    const [booking] = await bookings(world)
    await withdrawConsent(world.deps, booking!.patientId, null)
    const again = (id: string, minute: number, day: string) =>
      agreed(minute, 'booked', {
        key: { id, namespace: 'SKERRY', occurrence: '' },
        visit: { startsAt: new Date(`${day}T13:30:00Z`), consent: true },
      })
    await take(world, again('7002', 5, '2026-04-20'))
    expect((await openCalls(world)).filter(({ reason }) => reason === 'no-consent')).toHaveLength(2)
    await take(world, newsAt(6, 'changed', { visit: { consent: false } }), agreed(7, 'changed'))
    expect((await openCalls(world)).filter(({ reason }) => reason === 'no-consent')).toHaveLength(2)
    await world.passUntil('2026-03-12T14:00:00Z', 240)
    expect(world.textsTo(ADA)).toEqual([])
  })

  it('opens and closes times, and has a person move who is booked within', async () => {
    const world = await worldOf()
    const times = (minute: number, event: 'times-opened' | 'times-closed') =>
      newsAt(minute, event, {
        ...{ key: null, visit: null, patient: null },
        times: [
          {
            ...{ from: new Date('2026-03-20T13:00:00Z'), to: new Date('2026-03-20T13:20:00Z') },
            ...{ place: 'GYN1', clinician: '1001' },
          },
        ],
      })
    await take(world, times(0, 'times-opened'))
    const from = world.clock.now()
    const listed = () => world.deps.store.read.slots.list({ clinicId: 'harbour', from, limit: 10 })
    expect(await listed()).toMatchObject([{ clinician: 'North', minutes: 20, state: 'free' }])
    await take(world, newsAt(1, 'booked', { visit: { startsAt: new Date('2026-03-20T13:00:00Z') } }))
    expect(await listed()).toMatchObject([{ state: 'taken' }])
    await take(world, times(2, 'times-closed'))
    expect(await world.reasons()).toContain('schedule-unclear')
    expect(await listed()).toMatchObject([{ state: 'taken' }])
  })

  it('moves a visit to another clinic as another booking there', async () => {
    const world = await worldOf()
    await take(world, newsAt(0, 'booked'), newsAt(1, 'moved', { visit: { places: ['RDG'] } }))
    expect((await bookings(world)).map(({ clinicId, state }) => [clinicId, state]).sort()).toEqual([
      ['harbour', 'cancelled'],
      ['ridge', 'booked'],
    ])
  })

  it('keeps nothing more of a visit whose patient was erased, whatever comes again', async () => {
    const world = await worldOf()
    await take(world, newsAt(0, 'booked'))
    const [booking] = await bookings(world)
    await erasePatient(world.deps, booking!.patientId, BY)
    const { rows } = await world.composed.database.records.query('select * from daysix.feed_visit')
    expect(rows).toEqual([])
    expect((await take(world, newsAt(1440, 'booked')))[0]).toMatchObject({ does: 'nothing' })
    expect(await bookings(world)).toEqual([])
    expect((await world.composed.database.records.query('select * from daysix.feed_patient')).rows).toEqual([])
  })

  it('has the stricter consent of two records that are one patient', async () => {
    const world = await worldOf()
    const second = { ids: [{ value: '000999', authority: 'SKERRY', type: 'MR' }], name: 'Ada Fenwick' }
    const phones = [{ number: '782 555 0103', kind: 'mobile' as const }]
    const other = newsAt(1, 'booked', {
      ...{ key: { id: '7009', namespace: 'SKERRY', occurrence: '' }, patient: { ...second, phones, language: 'ENG' } },
      visit: { startsAt: new Date('2026-03-25T13:30:00Z') },
    })
    await take(world, agreed(0, 'booked'), other)
    const merge = newsAt(2, 'patients-merged', {
      ...{ key: null, visit: null, patient: newsAt(0, 'booked').patient, mergedIds: second.ids },
    })
    expect((await take(world, merge))[0]).toMatchObject({ does: 'merge' })
    const open = await openCalls(world)
    expect(open.filter(({ reason }) => reason === 'no-consent')).toHaveLength(2)
    expect(open.filter(({ reason }) => reason === 'schedule-unclear')).toHaveLength(1)
  })
})

it('what is known of a visit goes 90 days after it, and whoever has no other visit with it', async () => {
  const world = await worldOf()
  const later = newsAt(1, 'booked', {
    key: { id: '7002', namespace: 'SKERRY', occurrence: '' },
    patient: { ids: [], name: 'Bea Lowther', phones: [{ number: '782 555 0102', kind: 'mobile' }], language: 'ENG' },
    visit: { startsAt: new Date('2026-06-20T13:30:00Z') },
  })
  await take(world, newsAt(0, 'booked'), later)
  const counted = async () =>
    Promise.all(
      ['feed_visit', 'feed_patient', 'feed_seen'].map(
        async (table) => (await world.composed.database.records.query(`select * from daysix.${table}`)).rows.length,
      ),
    )
  expect(await counted()).toEqual([2, 2, 2])
  await world.clock.moveTo(new Date('2026-06-21T14:00:00Z'))
  await retain(world.deps, { cycleDays: 90, textDays: 365, auditDays: 2557 })
  expect(await counted()).toEqual([1, 1, 0])
})

it('keys are what the tables are found by, and nothing of a patient stands in the clear', async () => {
  const world = await worldOf()
  await take(world, newsAt(0, 'booked'))
  const { rows } = await world.composed.database.records.query(`
    select row_to_json(v)::text as text from daysix.feed_visit v
    union all select row_to_json(p)::text from daysix.feed_patient p
    union all select row_to_json(s)::text from daysix.feed_seen s`)
  const text = rows.map((row) => String(row.text)).join()
  expect(rows.length).toBe(3)
  for (const told of ['000123', 'Fenwick', '5550101', keyOf(newsAt(0, 'booked').key!), '7001', 'GYN1'])
    expect(text).not.toContain(told)
})
