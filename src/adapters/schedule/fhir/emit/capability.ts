import type { Written } from './resource.ts'

/** When what is said here last changed. */
const SINCE = '2026-11-28'
const LONGEST_BODY = '5 MB'

interface Parameter {
  name: string
  type: 'date' | 'token' | 'reference' | 'number'
  documentation: string
}

const COUNT: Parameter = { name: '_count', type: 'number', documentation: 'How many on a page.' }
const LOCATION: Parameter = {
  ...{ name: 'location', type: 'reference' },
  documentation: 'A clinic by its id; must be given with a key that is tied to one.',
}

/** R4 `CapabilityStatement` of where a schedule is told. */
export function intakeCapability(address: string): Written {
  return statement(address, 'Takes what a schedule that is kept elsewhere says.', {
    mode: 'server',
    documentation:
      `JSON only, up to ${LONGEST_BODY}. Nothing is read back: what was told is followed, not kept as it came. ` +
      'A PUT names a resource by the id of its sender; a POST is given one. Of a resource that says when it was last ' +
      'changed (meta.lastUpdated) the latest counts. 202: taken, and waits for a person. Bundles of the types ' +
      'message, history and collection are answered as a batch.',
    resource: [
      taken('Appointment', ['create', 'update', 'delete'], true, 'DELETE: entered in error.'),
      taken('Patient', ['create', 'update'], false, 'Kept only where a visit is.'),
      taken('Slot', ['create', 'update'], false, 'free opens a time, busy-unavailable closes it; others say nothing.'),
      taken('Schedule', ['create', 'update'], false, 'Looked up for Slots that are sent with it.'),
      taken('Observation', ['create', 'update'], false, 'LOINC 8665-2, first day of the last period; no other.'),
    ],
    interaction: [{ code: 'transaction' }, { code: 'batch' }],
  })
}

function taken(type: string, interactions: readonly string[], conditionalCreate: boolean, documentation: string) {
  return {
    ...{ type, documentation, interaction: interactions.map((code) => ({ code })) },
    ...{ versioning: 'versioned', readHistory: false, updateCreate: true, conditionalCreate },
    ...{ conditionalUpdate: false, conditionalDelete: 'not-supported' },
  }
}

/** R4 `CapabilityStatement` of what can be searched. */
export function searchCapability(address: string): Written {
  return statement(address, 'Tells of visits, times, messages and open calls.', {
    mode: 'server',
    documentation: 'JSON only. Parameters that are not listed are refused. Follow link.next as it is.',
    resource: [
      told('Appointment', ['read', 'search-type'], 'A visit. The patient is contained: name and telecom.', [
        { name: 'date', type: 'date', documentation: 'With eq, ge, gt, le, lt; once or twice.' },
        { name: 'status', type: 'token', documentation: 'booked, cancelled, fulfilled, noshow; several by commas.' },
        ...[LOCATION, COUNT],
      ]),
      told('Slot', ['search-type'], 'A time of the diary; who has it is not told.', [
        { name: 'start', type: 'date', documentation: 'With eq, ge, gt, le, lt; once or twice. Without: from now on.' },
        { name: 'status', type: 'token', documentation: 'free, busy, busy-tentative; several by commas.' },
        ...[LOCATION, COUNT],
      ]),
      told('Communication', ['search-type'], 'How a message stands; what it says is not told.', [
        { name: 'about', type: 'reference', documentation: 'The Appointment; must be given.' },
      ]),
      told('Task', ['search-type'], 'An open call: what is to be done, not why.', [
        { name: 'status', type: 'token', documentation: 'requested: open calls; no others are told.' },
        ...[LOCATION, COUNT],
      ]),
    ],
  })
}

function told(type: string, interactions: readonly string[], documentation: string, searchParam: Parameter[]) {
  return { type, documentation, interaction: interactions.map((code) => ({ code })), searchParam }
}

function statement(address: string, description: string, rest: object): Written {
  return {
    resourceType: 'CapabilityStatement',
    status: 'active',
    date: SINCE,
    kind: 'instance',
    software: { name: 'Daysix' },
    implementation: { description, url: address },
    fhirVersion: '4.0.1',
    format: ['json'],
    rest: [rest],
  }
}
