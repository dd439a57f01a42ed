import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { readFhir } from '../../../src/adapters/schedule/fhir/read-fhir.ts'
import { BASE, CONTEXT, FEED, newsOf, onlyNews, onlyRefusal } from '../invented-feed.ts'
import { appointment, bundle, participant, patient, slot } from './resources.ts'

const example = (name: string): unknown =>
  JSON.parse(readFileSync(new URL(`examples/${name}.json`, import.meta.url), 'utf8'))
const read = (resource: unknown, over: Partial<typeof FEED> = {}) => readFhir(resource, { ...FEED, ...over }, CONTEXT)

// Source: FHIR R4 4.0.1, HL7's own examples (CC0).
describe("HL7's own appointments", () => {
  it('a booked one: 9:00 to 11:00 UTC is 120 minutes', () => {
    const news = onlyNews(read(example('Appointment-example')))
    expect(news).toMatchObject({
      event: 'booked',
      key: { id: 'example', namespace: BASE, occurrence: '' },
      sequence: null,
      madeAt: null,
      patient: { ids: [{ value: 'example', authority: BASE, type: 'RI' }] },
      visit: {
        minutes: 120,
        places: ['1', 'South Wing, second floor'],
        clinicians: ['example', 'Dr Adam Careful'],
        types: ['52', 'FOLLOWUP'],
        status: 'booked',
      },
    })
    expect(news.visit?.startsAt).toEqual(new Date('2013-12-10T09:00:00Z'))
  })

  it('a proposed one without a time is no booking, and says so', () => {
    expect(read(example('Appointment-examplereq'))).toEqual([
      { news: [], doubts: [expect.stringContaining('"proposed" is no booking')] },
    ])
  })

  it('two doctors, and somebody who is only a name', () => {
    const { visit } = onlyNews(read(example('Appointment-2docs')))
    expect(visit?.clinicians).toEqual(['example', 'Dr Adam Careful', 'f202', 'Luigi Maas'])
  })
})

// Source: FHIR R4 4.0.1, code system appointmentstatus; what each means here is a judgement of our own.
describe('a status', () => {
  it.each([
    ['booked', 'booked'],
    ['arrived', 'arrived'],
    ['checked-in', 'arrived'],
    ['fulfilled', 'arrived'],
    ['cancelled', 'cancelled'],
    ['noshow', 'no-show'],
    ['entered-in-error', 'entered-in-error'],
  ])('%s is %s', (status, event) => {
    expect(onlyNews(read(appointment({ status }))).event).toBe(event)
  })

  it.each(['proposed', 'pending', 'waitlist'])('%s is no booking, unless the site says so', (status) => {
    expect(newsOf(read(appointment({ status })))).toEqual([])
    expect(onlyNews(read(appointment({ status }), { statuses: { [status]: 'booked' } })).event).toBe('booked')
  })

  it.each(['Scheduled', 'BOOKED', '', 'constructor', null, undefined])('%s is none', (status) => {
    expect(onlyRefusal(read(appointment({ status })))).toMatchObject({ ack: 'AE', at: 'Appointment.status' })
  })

  it('noshow may have a reason, though app-4 of R4 spells it otherwise', () => {
    const cancelationReason = { coding: [{ code: 'pat' }] }
    expect(onlyNews(read(appointment({ status: 'noshow', cancelationReason }))).event).toBe('no-show')
  })
})

// Source: FHIR R4 4.0.1, StructureDefinition Appointment, invariants app-1 to app-3, and the types instant and code.
describe('what FHIR forbids', () => {
  it.each([
    ['app-1', { participant: [{ status: 'accepted' }] }, 'Appointment.participant[0]'],
    ['app-2', { end: undefined }, 'Appointment.end'],
    ['app-2, the other way', { start: undefined }, 'Appointment.start'],
    ['app-3', { start: undefined, end: undefined }, 'Appointment.start'],
    ['a start without offset', { start: '2026-03-20T09:00:00' }, 'Appointment.start'],
    ['a start without seconds', { start: '2026-03-20T09:00Z' }, 'Appointment.start'],
    ['30 February', { start: '2026-02-30T09:00:00Z' }, 'Appointment.start'],
    ['nobody', { participant: [] }, 'Appointment.participant'],
    [
      'a participant without status',
      { participant: [{ actor: { display: 'x' } }] },
      'Appointment.participant[0].status',
    ],
    ['null', { serviceType: null }, 'Appointment.serviceType'],
    ['an empty string', { serviceType: [{ text: '' }] }, 'Appointment.serviceType[0].text'],
    ['an end before the start', { end: '2026-03-20T08:00:00-03:00' }, 'Appointment.end'],
    ['minus three minutes', { minutesDuration: -3 }, 'Appointment.minutesDuration'],
  ])('%s', (_what, over, at) => {
    expect(onlyRefusal(read(appointment(over)))).toMatchObject({ ack: 'AE', at })
  })

  it('a cancelled visit may lack its time (app-3)', () => {
    const { event, visit } = onlyNews(read(appointment({ status: 'cancelled', start: undefined, end: undefined })))
    expect(event).toBe('cancelled')
    expect(visit).not.toHaveProperty('startsAt')
  })

  it('never repeats what was sent: it may name somebody', () => {
    const told = JSON.stringify(read(appointment({ start: 'Ines Gale 555-0101' })))
    expect(told).not.toMatch(/Gale|0101/)
  })
})

describe('what may change the meaning and is not known', () => {
  const modifierExtension = [{ url: 'urn:x', valueBoolean: true }]
  it.each([
    ['at the top', appointment({ modifierExtension }), 'Appointment.modifierExtension'],
    [
      'within',
      appointment({ participant: [participant('Patient/p1', { modifierExtension })] }),
      'Appointment.participant[0].modifierExtension',
    ],
    ['rules of its own', appointment({ implicitRules: 'urn:x' }), 'Appointment.implicitRules'],
  ])('is refused %s', (_where, resource, at) => {
    expect(onlyRefusal(read(resource))).toMatchObject({ ack: 'AE', code: 200, at })
  })

  it('is refused in the patient, who is looked up', () => {
    const answers = read(bundle('collection', appointment(), patient({ modifierExtension })))
    expect(answers.map((one) => 'ack' in one)).toEqual([true, true])
  })

  it('is refused in what is nested deeper than a stack is', () => {
    let deep: unknown = { modifierExtension }
    for (let depth = 0; depth < 50_000; depth++) deep = [deep]
    expect(onlyRefusal(read(appointment({ extra: deep }))).code).toBe(200)
  })
})

describe('the key', () => {
  it("is the resource's id and where it is from", () => {
    expect(onlyNews(read(appointment())).key).toEqual({ id: 'a1', namespace: BASE, occurrence: '' })
  })

  it('or the number of the system that the feed goes by, sign for sign', () => {
    const news = onlyNews(read(appointment(), { keySystem: 'urn:skerry:visit' }))
    expect(news.key).toEqual({ id: '0007001', namespace: 'urn:skerry:visit', occurrence: '' })
  })

  it.each([
    ['none of that system', [{ system: 'urn:other', value: '1' }]],
    ['an old one only', [{ system: 'urn:skerry:visit', value: '1', use: 'old' }]],
    ['two', ['1', '2'].map((value) => ({ system: 'urn:skerry:visit', value }))],
  ])('is not guessed: %s', (_what, identifier) => {
    const refused = onlyRefusal(read(appointment({ identifier }), { keySystem: 'urn:skerry:visit' }))
    expect(refused.at).toBe('Appointment.identifier')
  })

  it('is missing without an id', () => {
    expect(onlyRefusal(read(appointment({ id: undefined }))).at).toBe('Appointment.id')
  })
})

describe('what counts as newer', () => {
  it('a version that is a number, and when it was made', () => {
    const { sequence, madeAt, messageId } = onlyNews(read(appointment()))
    expect({ sequence, madeAt, messageId }).toEqual({
      sequence: 3,
      madeAt: new Date('2026-03-01T10:00:00Z'),
      messageId: 'Appointment/a1/_history/3',
    })
  })

  it('a version of letters does not count', () => {
    expect(onlyNews(read(appointment({ meta: { versionId: 'b7-x' } }))).sequence).toBeNull()
  })
})

describe('who comes', () => {
  it('several patients are for a person', () => {
    const both = [participant('Patient/p1'), participant('Patient/p2')]
    expect(onlyRefusal(read(appointment({ participant: both })))).toMatchObject({ at: 'Appointment.participant' })
  })

  it('a room is a participant, not a patient', () => {
    const { patient: who, doubts } = onlyNews(read(appointment({ participant: [participant('Location/GYN1')] })))
    expect(who).toBeNull()
    expect(doubts).toEqual([expect.stringContaining('no patient')])
  })

  it('a place that declined is none, a patient who declined is a doubt', () => {
    const all = ['Patient/p1', 'Location/RDG'].map((one) => participant(one, { status: 'declined' }))
    const { visit, doubts } = onlyNews(read(appointment({ participant: [...all, participant('Location/GYN1')] })))
    expect(visit?.places).toEqual(['GYN1'])
    expect(doubts).toEqual([expect.stringContaining('declined')])
  })

  it('a patient known by number alone', () => {
    const actor = { type: 'Patient', identifier: { system: 'urn:skerry:mrn', value: '00417' } }
    const { patient: who } = onlyNews(read(appointment({ participant: [{ actor, status: 'accepted' }] })))
    expect(who?.ids).toEqual([{ value: '00417', authority: 'urn:skerry:mrn', type: '' }])
  })
})

describe('consent', () => {
  const consent = { field: 'urn:skerry:texts-agreed', yes: ['true', 'Y'] }
  it.each([
    [{ valueBoolean: true }, true],
    [{ valueBoolean: false }, false],
    [{ valueCode: 'Y' }, true],
    [{ valueString: 'maybe' }, false],
    [{}, undefined],
  ])('%j in the extension of the feed is %s', (value, agreed) => {
    const extension = [{ url: consent.field, ...value }]
    expect(onlyNews(read(appointment({ extension }), { consent })).visit?.consent).toBe(agreed)
    expect(onlyNews(read(appointment({ extension }))).visit?.consent).toBeUndefined()
  })
})

it('a slot that is overbooked says so of its visit', () => {
  const booked = appointment({ slot: [{ reference: 'Slot/s1' }] })
  const [news] = newsOf(read(bundle('collection', booked, slot({ status: 'busy', overbooked: true }), patient())))
  expect(news?.visit?.overbooked).toBe(true)
})
