import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { operationOutcome } from '../../../src/adapters/schedule/fhir/operation-outcome.ts'
import { readFhir } from '../../../src/adapters/schedule/fhir/read-fhir.ts'
import { BASE, CONTEXT, FEED, newsOf, onlyNews, onlyRefusal } from '../invented-feed.ts'
import { appointment, bundle, lmp, patient, slot } from './resources.ts'

const example = (name: string): unknown =>
  JSON.parse(readFileSync(new URL(`examples/${name}.json`, import.meta.url), 'utf8'))
const read = (resource: unknown) => readFhir(resource, FEED, CONTEXT)
const told = (over: Record<string, unknown>) => onlyNews(read(patient(over)))

describe('a patient', () => {
  it('has numbers, those of the resource last', () => {
    expect(told({}).patient?.ids).toEqual([
      { value: '00417', authority: 'urn:skerry:mrn', type: 'MR' },
      { value: 'p1', authority: BASE, type: 'RI' },
    ])
  })

  it('is called by the official name, whatever else there is', () => {
    const name = [
      { use: 'old', family: 'Berg' },
      { use: 'nickname', text: 'Nessie' },
      { use: 'official', family: 'Gale', given: ['Ines', 'M.'] },
      { use: 'maiden', family: 'Holm' },
    ]
    expect(told({ name }).patient?.name).toBe('Ines M. Gale')
    expect(told({ name: [{ use: 'maiden', family: 'Holm' }] }).patient).not.toHaveProperty('name')
  })

  it('is reached on the mobile first, never on an old number or at work', () => {
    const telecom = [
      { system: 'phone', use: 'home', value: '+1-902-555-0102', rank: 1 },
      { system: 'phone', use: 'work', value: '+1-902-555-0103' },
      { system: 'phone', use: 'old', value: '+1-902-555-0104' },
      { system: 'phone', use: 'mobile', value: '+1-902-555-0199', period: { end: '2025-12-31' } },
      { system: 'phone', use: 'mobile', value: 'tel:+1-902-555-0101' },
      { system: 'email', value: 'ines@skerry.example' },
      { system: 'fax', value: '+1-902-555-0105' },
    ]
    const { patient: who, doubts } = told({ telecom })
    expect(who?.phones).toEqual([
      { number: '+1-902-555-0101', kind: 'mobile' },
      { number: '+1-902-555-0102', kind: 'unknown' },
    ])
    expect(who?.email).toBe('ines@skerry.example')
    expect(doubts).toEqual([expect.stringContaining('at work')])
  })

  it('who does not exist is not for us, nor is a visit of theirs', () => {
    const test = patient({ name: [{ family: 'ZZTest', given: ['Anna'] }] })
    const answers = readFhir(bundle('collection', appointment(), test), { ...FEED, testNames: ['ZZTEST'] }, CONTEXT)
    expect(answers).toMatchObject([
      { ack: 'AR', code: 202 },
      { ack: 'AR', code: 202 },
    ])
  })

  it('who has no number in the resource keeps the one that is known', () => {
    expect(told({ telecom: undefined }).patient).not.toHaveProperty('phones')
  })

  it('has a birth date only where all of it is told', () => {
    expect(told({ birthDate: '1990-05-17' }).patient?.birthDate).toBe('1990-05-17')
    const { patient: who, doubts } = told({ birthDate: '1990-05' })
    expect(who).not.toHaveProperty('birthDate')
    expect(doubts).toHaveLength(1)
  })

  it('speaks the language that is preferred', () => {
    const language = (code: string) => ({ language: { coding: [{ system: 'urn:ietf:bcp:47', code }] } })
    expect(told({ communication: [language('en'), { ...language('fr'), preferred: true }] }).patient?.language).toBe(
      'fr',
    )
    expect(told({ communication: [language('fr')] }).patient?.language).toBe('fr')
    expect(told({ communication: [language('fr'), language('en')] }).patient).not.toHaveProperty('language')
  })

  it.each([
    [{ deceasedBoolean: true }, true],
    [{ deceasedDateTime: '2026-02' }, true],
    [{ deceasedBoolean: false }, false],
    [{}, undefined],
  ])('%j: died %s', (over, died) => {
    expect(told(over).patient?.died).toBe(died)
  })

  it('whose record is out of use, with no other named, is for a person', () => {
    expect(onlyRefusal(read(patient({ active: false }))).at).toBe('Patient.active')
    expect(told({ active: false, deceasedBoolean: true }).patient?.died).toBe(true)
  })
})

describe('records that became one', () => {
  const link = (type: string) => [{ type, other: { reference: 'Patient/p2' } }]
  const ids = [
    { value: '00417', authority: 'urn:skerry:mrn', type: 'MR' },
    { value: 'p1', authority: BASE, type: 'RI' },
  ]
  const other = [{ value: 'p2', authority: BASE, type: 'RI' }]

  it('the old one says what replaced it, and nothing else is taken from it', () => {
    const news = onlyNews(read(patient({ active: false, link: link('replaced-by') })))
    expect(news).toMatchObject({ event: 'patients-merged', patient: { ids: other }, mergedIds: ids })
  })

  it('the new one says what it replaces, beside what it is', () => {
    const news = newsOf(read(patient({ link: link('replaces') })))
    expect(news).toMatchObject([
      { event: 'patients-merged', patient: { ids }, mergedIds: other },
      { event: 'patient', patient: { name: 'Ines Gale' } },
    ])
  })

  it('a number that both carry goes on', () => {
    const sent = bundle('collection', patient({ link: link('replaced-by') }), patient({ id: 'p2' }))
    expect(newsOf(read(sent))[0]?.mergedIds).toEqual([ids[1]])
  })

  it.each(['refer', 'seealso'])('%s merges nothing', (type) => {
    expect(told({ link: link(type) }).event).toBe('patient')
  })
})

describe('the first day of the last period', () => {
  it('is told with the day on which it was told', () => {
    expect(onlyNews(read(lmp()))).toMatchObject({
      event: 'patient',
      patient: { ids: [{ value: 'p1' }], lmp: { day: '2026-02-20', toldOn: '2026-03-02' } },
      doubts: [],
    })
  })

  // Source: FHIR R4 4.0.1, HL7's own example: told on 2016-01-24 of 2016-12-30.
  it("is not taken from HL7's own example, which tells of a day to come", () => {
    const news = onlyNews(read(example('Observation-date-lastmp')))
    expect(news.patient).toEqual({ ids: [{ value: 'pat2', authority: BASE, type: 'RI' }] })
    expect(news.doubts).toEqual([expect.stringContaining('later than the day on which it was told')])
  })

  it.each([
    ['a year', { valueDateTime: '2026' }],
    ['a month', { valueDateTime: '2026-02' }],
    ['a day to come, told of without a day', { valueDateTime: '2026-03-10', effectiveDateTime: undefined }],
    ['told on a day to come', { effectiveDateTime: '2027-03-02' }],
    ['no date', { valueDateTime: undefined }],
    ['not known, without a word of why', { valueDateTime: undefined, dataAbsentReason: { text: 'x' } }],
  ])('is left as it is: %s', (_what, over) => {
    const { patient: who, doubts } = onlyNews(read(lmp(over)))
    expect(who).not.toHaveProperty('lmp')
    expect(doubts).toHaveLength(1)
  })

  it('asked for and not known is told as that', () => {
    const dataAbsentReason = {
      coding: [{ system: 'http://terminology.hl7.org/CodeSystem/data-absent-reason', code: 'asked-unknown' }],
    }
    expect(onlyNews(read(lmp({ valueDateTime: undefined, dataAbsentReason }))).patient?.lmp).toBeNull()
  })

  it('told in error is for a person, not yet an answer is nothing', () => {
    expect(onlyRefusal(read(lmp({ status: 'entered-in-error' }))).at).toBe('Observation.status')
    expect(newsOf(read(lmp({ status: 'registered' })))).toEqual([])
  })

  it('is known by its code alone', () => {
    expect(newsOf(read(lmp({ code: { coding: [{ system: 'http://loinc.org', code: '8302-2' }] } })))).toEqual([])
    expect(newsOf(read(lmp({ code: { coding: [{ system: 'urn:other', code: '8665-2' }] } })))).toEqual([])
  })
})

// Source: FHIR R4 4.0.1, HL7's own examples (CC0).
describe("HL7's own times", () => {
  const times = (place: string) => [
    { from: new Date('2013-12-25T09:15:00Z'), to: new Date('2013-12-25T09:30:00Z'), place, clinician: '' },
  ]
  it('a free one is opened', () => {
    expect(onlyNews(read(example('Slot-example')))).toMatchObject({ event: 'times-opened', times: times('example') })
  })
  it('one that is out of the diary is closed', () => {
    const [time] = onlyNews(read(example('Slot-3'))).times ?? []
    expect(time?.from).toEqual(new Date('2013-12-25T09:30:00Z'))
    expect(onlyNews(read(example('Slot-3'))).event).toBe('times-closed')
  })
  it.each(['Slot-1', 'Slot-2'])('a busy one, %s, neither opens nor closes', (name) => {
    expect(newsOf(read(example(name)))).toEqual([])
  })
})

describe('a time', () => {
  const schedule = (over = {}) => ({
    resourceType: 'Schedule',
    id: 'GYN1',
    actor: [{ reference: 'Practitioner/d4' }, { reference: 'Location/RDG' }],
    ...over,
  })

  it('is where and whose the diary says', () => {
    const [news] = newsOf(read(bundle('collection', slot(), schedule())))
    expect(news).toMatchObject({ times: [{ place: 'RDG', clinician: 'd4' }], doubts: [] })
  })

  it('of a diary out of use is not opened, but closed', () => {
    const unused = schedule({ active: false })
    expect(newsOf(read(bundle('collection', slot(), unused)))).toEqual([])
    const closed = newsOf(read(bundle('collection', slot({ status: 'busy-unavailable' }), unused)))
    expect(closed[0]?.event).toBe('times-closed')
  })

  it('entered in error is passed over', () => {
    expect(newsOf(read(slot({ status: 'entered-in-error' })))).toEqual([])
  })

  it('that ends before it begins is refused', () => {
    expect(onlyRefusal(read(slot({ end: '2026-03-20T08:00:00Z' }))).at).toBe('Slot.end')
  })
})

// Source: FHIR R4 4.0.1, OperationOutcome (issue 1..*, severity and code 1..1), value sets issue-severity, issue-type.
describe('an outcome', () => {
  it('names the place of a fault', () => {
    const [answer] = read(appointment({ start: 'x' }))
    expect(operationOutcome(answer!)).toMatchObject({
      resourceType: 'OperationOutcome',
      issue: [{ severity: 'error', code: 'structure', expression: ['Appointment.start'] }],
    })
  })

  it('of a line or an entry is no path', () => {
    const [answer] = read(bundle('batch', appointment({ start: 'x' })))
    expect(operationOutcome(answer!).issue[0]).toMatchObject({ diagnostics: 'Bundle.entry[0], Appointment.start' })
    expect(operationOutcome(answer!).issue[0]).not.toHaveProperty('expression')
  })

  it('has every doubt as a warning, and an issue in any case', () => {
    const [doubtful] = read(appointment({ status: 'waitlist' }))
    expect(operationOutcome(doubtful!).issue).toMatchObject([{ severity: 'warning' }])
    const [fine] = read(appointment())
    expect(operationOutcome(fine!).issue).toMatchObject([{ severity: 'information' }])
  })
})
