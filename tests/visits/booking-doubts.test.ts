import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { mayBeMeant } from '../../src/domain/patients/same-person.ts'
import { bookingDoubts, type DoubtRequest } from '../../src/domain/visits/booking-doubts.ts'
import { newBooking } from '../../src/flows/visits/new-booking.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'
import { DESK, openReception, postForm, type Reception } from '../desk/reception.ts'

// Own rules: each asks, none refuses. Invented people at numbers reserved for fiction.
const INGA: Patient = {
  ...{ id: 'p_1', clinicId: 'harbour', name: 'Inga Lowther', phone: '+17825550171', language: 'en' },
  ...{ channel: 'sms', detail: 'full', cycle: { status: 'unknown' } },
}
const ZONE = 'America/Halifax'
const at = (written: string) => new Date(`${written}:00-03:00`)
const visitOf = (visitAt: Date) =>
  newBooking({
    ...{ id: 'b_1', patientId: 'p_1', clinicId: 'harbour', clinician: '', protocol: 'liquid-based-cytology' },
    ...{ visitAt, minutes: 10, zone: ZONE, createdAt: visitAt },
  })
const ask = (request: Partial<DoubtRequest>) =>
  bookingDoubts({
    ...{ told: { name: 'Inga Lowther' }, known: [], visit: null, times: [], lmpTwice: false, badlyTimed: null },
    ...request,
  }).map(({ about }) => about)

describe('a name that is nobody’s at the number', () => {
  it.each(['Inga Lowthr', 'Ingga Lowther', 'Lowther Inga', 'Inga', 'inga-marie lowther', 'Inga Louther'])(
    'may mean whoever is known there: %s',
    (name) => expect(mayBeMeant([INGA], { name })).toEqual([INGA]),
  )
  it.each(['Inga Lowther', 'Marit Quillon', 'Tova Lowther', ''])('does not: %s', (name) =>
    expect(mayBeMeant([INGA], { name })).toEqual([]),
  )
  it('does not where birth dates differ', () =>
    expect(
      mayBeMeant([{ ...INGA, birthDate: '1980-01-01' }], { name: 'Inga Lowthr', birthDate: '1999-01-01' }),
    ).toEqual([]))
})

describe('a clerk is asked', () => {
  const known = [{ patient: INGA, visits: [visitOf(at('2026-03-20T10:00'))] }]
  const visit = (written: string) => ({ visitAt: at(written), zone: ZONE })
  // Tuesdays and Thursdays of March 2026.
  const times = ['03', '05', '10', '12', '17', '19', '24', '26', '31'].flatMap((day) => [
    at(`2026-03-${day}T09:00`),
    at(`2026-03-${day}T10:00`),
  ])

  it.each<[string, Partial<DoubtRequest>, string[]]>([
    ['nothing as a rule', { known: [], visit: visit('2026-03-24T10:00'), times }, []],
    ['about a second visit within two weeks', { known, visit: visit('2026-04-02T10:00') }, ['date']],
    ['not about one long after', { known, visit: visit('2026-05-20T10:00') }, []],
    ['about a misspelt name', { known, told: { name: 'Inga Lowthar' } }, ['name']],
    ['about a day of the week on which nobody works', { visit: visit('2026-03-22T10:00'), times }, ['date']],
    ['not about it while little is known', { visit: visit('2026-03-22T10:00'), times: times.slice(0, 5) }, []],
    ['about the middle of the night', { visit: visit('2026-03-24T03:00'), times }, ['time']],
    ['about a date that is given and not known', { lmpTwice: true }, ['lmp']],
    ['about bad timing', { badlyTimed: { facts: 'x', reason: 'Move.' } }, ['timing']],
  ])('%s', (_what, request, about) => expect(ask(request)).toEqual(about))
})

describe('the booking form', () => {
  let desk: Reception
  const form = {
    ...{
      phone: '782 555 0171',
      name: 'Inga Lowther',
      lmp: '5 Mar',
      sure: '0',
      usual: '28',
      date: '24 Mar',
      time: '9.50',
    },
    ...{ protocol: 'liquid-based-cytology', language: 'en', channel: 'sms', detail: 'full' },
  }
  let n = 0
  const send = (fields: object, to = 'book') =>
    postForm(desk.base, `${DESK}/${to}`, { ...form, key: `k_doubts_${++n}`, ...fields })
  beforeAll(async () => {
    desk = await openReception()
    expect((await send({})).status).toBe(303)
  })
  afterAll(() => desk.close())

  it('reads dates and times as they are typed, and says them back in words', async () => {
    const page = await (await send({ phone: '782 555 0177', name: 'Nobody Yet' }, 'book/look')).text()
    expect(page).toContain('Last period: Thursday 5 March 2026, 4 days ago: today is cycle day 5.')
    expect(page).toContain('Visit: Tuesday 24 March 2026, in 15 days.')
    expect(page).toContain('name="time" value="09:50"')
  })

  it('shows whom the clinic knows at a number, and fills in that person', async () => {
    const known = await (await send({ name: '' }, 'book/look')).text()
    expect(known).toMatch(/Known here: <b>Inga Lowther<\/b>\. Visit Tue 24 Mar, 09:50\./)
    const id = /name="same" value="(p_[^"]+)"/.exec(known)![1]!
    const chosen = await (await send({ name: 'Ing', same: id }, 'book/look')).text()
    expect(chosen).toContain('name="name" value="Inga Lowther"')
    expect(chosen).toContain('Same person.')
  })

  it('asks once about a second visit near the first, and about a name misspelt, and books both where they are meant', async () => {
    const asked = await send({ name: 'Inga Lowthar', date: '31 mar', time: '14:10', lmp: '12 Mar' })
    expect(asked.status).toBe(422)
    expect(await asked.text()).toContain('Inga Lowther is known at this number.')
    const second = { date: '26 mar', time: '15:10' }
    const again = await send(second)
    expect(again.status).toBe(422)
    const page = await again.text()
    expect(page).toContain('Inga Lowther has a visit on Tue 24 Mar at 09:50 already.')
    const despite = /name="despite" value="([^"]+)"/.exec(page)![1]!
    const booked = await send({ ...second, despite })
    expect(booked.status).toBe(303)
    const id = booked.headers.get('location')!.split('?')[0]!.split('/').at(-1)!
    const [event] = await desk.world.deps.store.read.events.ofBooking(id)
    expect(event).toMatchObject({ what: 'booked', facts: { despite: ['date'] } })
  })
})
