// Resources of the invented Skerry Isles Hospital, in the shape of FHIR R4.
import { BASE } from '../invented-feed.ts'

type Some = Record<string, unknown>

export const patient = (over: Some = {}): Some => ({
  resourceType: 'Patient',
  id: 'p1',
  identifier: [{ type: { coding: [{ code: 'MR' }] }, system: 'urn:skerry:mrn', value: '00417' }],
  name: [{ use: 'official', family: 'Gale', given: ['Ines'] }],
  telecom: [{ system: 'phone', use: 'mobile', value: '+1-902-555-0101' }],
  ...over,
})

export const participant = (reference: string, over: Some = {}): Some => ({
  actor: { reference },
  status: 'accepted',
  ...over,
})

export const appointment = (over: Some = {}): Some => ({
  resourceType: 'Appointment',
  id: 'a1',
  meta: { versionId: '3', lastUpdated: '2026-03-01T10:00:00.000Z' },
  identifier: [{ system: 'urn:skerry:visit', value: '0007001' }],
  status: 'booked',
  serviceType: [{ coding: [{ system: 'urn:skerry:type', code: 'PAP' }] }],
  start: '2026-03-20T09:00:00-03:00',
  end: '2026-03-20T09:20:00-03:00',
  participant: [participant('Patient/p1'), participant('Location/GYN1'), participant('Practitioner/d4')],
  ...over,
})

export const slot = (over: Some = {}): Some => ({
  resourceType: 'Slot',
  id: 's1',
  schedule: { reference: 'Schedule/GYN1' },
  status: 'free',
  start: '2026-03-20T09:00:00Z',
  end: '2026-03-20T09:20:00Z',
  ...over,
})

export const lmp = (over: Some = {}): Some => ({
  resourceType: 'Observation',
  id: 'o1',
  status: 'final',
  code: { coding: [{ system: 'http://loinc.org', code: '8665-2' }] },
  subject: { reference: 'Patient/p1' },
  effectiveDateTime: '2026-03-02',
  valueDateTime: '2026-02-20',
  ...over,
})

/** A bundle; each resource under its full address, or an entry as given. */
export const bundle = (type: string, ...entries: Some[]): Some => ({
  resourceType: 'Bundle',
  type,
  entry: entries.map((one) =>
    typeof one['resourceType'] === 'string'
      ? { fullUrl: `${BASE}/${one['resourceType']}/${String(one['id'])}`, resource: one }
      : one,
  ),
})
