import { describe, expect, it } from 'vitest'
import { readFhir, readNdjson } from '../../../src/adapters/schedule/fhir/read-fhir.ts'
import { BASE, CONTEXT, FEED, newsOf, onlyNews, onlyRefusal } from '../invented-feed.ts'
import { appointment, bundle, lmp, participant, patient, slot } from './resources.ts'

type Some = Record<string, unknown>
const read = (resource: unknown, over: Partial<typeof FEED> = {}) => readFhir(resource, { ...FEED, ...over }, CONTEXT)

/** What the visit of a bundle says of its patient's name: found or not. */
const nameOf = (resource: Some) => newsOf(read(resource)).find(({ key }) => key !== null)?.patient?.name

// Source: FHIR R4 4.0.1, references.html and bundle.html ("Resolving references in Bundles").
describe('a reference', () => {
  const of = (reference: string) => appointment({ participant: [participant(reference)] })

  it.each(['Patient/p1', `${BASE}/Patient/p1`, 'Patient/p1/_history/2', `${BASE}/Patient/p1/_history/2`])(
    '%s finds the patient who was sent along',
    (reference) => {
      expect(nameOf(bundle('searchset', of(reference), patient()))).toBe('Ines Gale')
    },
  )

  it('urn:uuid finds the entry of that address', () => {
    const urn = 'urn:uuid:88f151c0-a954-468a-88bd-5ae15c08e059'
    const sent = bundle('transaction', { fullUrl: urn, resource: patient({ id: undefined }) }, of(urn))
    expect(nameOf(sent)).toBe('Ines Gale')
  })

  it('# finds what is contained, which has no id to be found by again', () => {
    const resource = { ...of('#p'), contained: [patient({ id: 'p' })] }
    const { patient: who } = onlyNews(read(resource))
    expect(who).toMatchObject({ name: 'Ines Gale', ids: [{ value: '00417', authority: 'urn:skerry:mrn', type: 'MR' }] })
  })

  it('to Patient/p1 of another server is somebody else', () => {
    const elsewhere = 'https://fhir.elsewhere.example/r4'
    const [news] = newsOf(read(bundle('collection', of(`${elsewhere}/Patient/p1`), patient())))
    expect(news?.patient).toEqual({ ids: [{ value: 'p1', authority: elsewhere, type: 'RI' }] })
  })

  it('of an entry is relative to where that entry is from', () => {
    const elsewhere = 'https://fhir.elsewhere.example/r4'
    const entry = { fullUrl: `${elsewhere}/Appointment/a1`, resource: of('Patient/p1') }
    const theirs = { fullUrl: `${elsewhere}/Patient/p1`, resource: patient({ name: [{ text: 'Runa Holm' }] }) }
    expect(nameOf(bundle('collection', patient(), entry, theirs))).toBe('Runa Holm')
  })

  it('that leads nowhere is for a person', () => {
    const nowhere = of('urn:uuid:00000000-0000-4000-8000-000000000000')
    const patientIs = { actor: { ...(nowhere['participant'] as [{ actor: Some }])[0].actor, type: 'Patient' } }
    const refused = onlyRefusal(read(appointment({ participant: [{ ...patientIs, status: 'accepted' }] })))
    expect(refused.at).toBe('Appointment.participant')
  })

  it("to a place has the place's own numbers first", () => {
    const place = { resourceType: 'Location', id: 'L9', identifier: [{ value: 'GYN1' }], name: 'Harbour' }
    const sent = bundle('collection', appointment({ participant: [participant('Location/L9')] }), place)
    expect(newsOf(read(sent))[0]?.visit?.places).toEqual(['GYN1', 'L9', 'Harbour'])
  })
})

describe('a bundle', () => {
  it.each(['transaction', 'batch', 'message', 'history', 'searchset', 'collection'])(
    '%s is read, entry by entry',
    (type) => {
      const answers = read(
        bundle(type, { resource: { resourceType: 'MessageHeader' } }, patient(), appointment(), slot()),
      )
      expect(answers).toHaveLength(4)
      expect(newsOf(answers).map(({ event }) => event)).toEqual(['patient', 'booked', 'times-opened'])
    },
  )

  it.each(['document', 'transaction-response', 'batch-response', 'x', ''])('%s is none of ours', (type) => {
    expect(onlyRefusal(read(bundle(type, appointment())))).toMatchObject({ ack: 'AR', at: 'Bundle.type' })
  })

  it('keeps the good where one is bad, and says which', () => {
    const answers = read(bundle('batch', appointment({ start: '9' }), appointment({ id: 'a2' })))
    expect(answers).toMatchObject([
      { ack: 'AE', at: 'Bundle.entry[0], Appointment.start' },
      { news: [{ key: { id: 'a2' } }] },
    ])
  })

  it('a server that answers a search with a fault has not told everything', () => {
    const outcome = { search: { mode: 'outcome' }, resource: { resourceType: 'OperationOutcome' } }
    expect(read(bundle('searchset', appointment(), outcome))[1]).toMatchObject({ ack: 'AE' })
  })

  it('a part of a resource is refused, a question passed over', () => {
    const request = (method: string) => ({ request: { method, url: 'Appointment/a1' } })
    const answers = read(bundle('batch', { ...request('PATCH'), resource: {} }, request('GET')))
    expect(answers).toMatchObject([{ ack: 'AE', at: 'Bundle.entry[0], request.method' }, { news: [] }])
  })

  it('is refused where it follows rules of its own', () => {
    expect(onlyRefusal(read({ ...bundle('batch', appointment()), implicitRules: 'urn:x' })).at).toBe(
      'Bundle.implicitRules',
    )
  })
})

describe('what was deleted', () => {
  const gone = {
    request: { method: 'DELETE', url: 'Appointment/a1' },
    response: { etag: 'W/"4"', lastModified: '2026-03-02T08:00:00Z' },
  }

  it('never was: that is no cancellation', () => {
    expect(onlyNews(read(bundle('history', gone)))).toMatchObject({
      event: 'entered-in-error',
      key: { id: 'a1', namespace: BASE },
      sequence: 4,
      madeAt: new Date('2026-03-02T08:00:00Z'),
    })
  })

  it('is known by its number only where an earlier version tells it', () => {
    const keySystem = 'urn:skerry:visit'
    expect(newsOf(read(bundle('history', gone, appointment()), { keySystem }))[0]?.key?.id).toBe('0007001')
    expect(onlyRefusal(read(bundle('history', gone), { keySystem }))).toMatchObject({ ack: 'AE', code: 204 })
  })

  it('of people is said, and nothing follows', () => {
    const who = { request: { method: 'DELETE', url: 'Patient/p1' } }
    expect(read(bundle('history', who))).toEqual([{ news: [], doubts: [expect.stringContaining('deleted')] }])
  })
})

describe('lines of resources', () => {
  const lines = (...all: unknown[]) =>
    all.map((one) => (typeof one === 'string' ? one : JSON.stringify(one))).join('\r\n')

  it('refer to one another, and each bad one is named', () => {
    const text = `\ufeff${lines(patient(), '', appointment(), '{"resourceType":', lmp({ status: 'x' }))}\n`
    const answers = readNdjson(text, FEED, CONTEXT)
    expect(answers).toMatchObject([
      { news: [{ event: 'patient' }] },
      { news: [{ event: 'booked', patient: { name: 'Ines Gale' } }] },
      { ack: 'AE', at: 'line 4' },
      { ack: 'AE', at: 'line 5, Observation.status' },
    ])
  })
})

it.each([null, undefined, 7, 'Appointment', [], {}, { resourceType: 1 }])('%j is no resource', (sent) => {
  expect(onlyRefusal(read(sent))).toMatchObject({ ack: 'AR' })
})

it('another kind of resource is not for us', () => {
  expect(onlyRefusal(read({ resourceType: 'Immunization' }))).toMatchObject({ ack: 'AR', code: 200 })
})
