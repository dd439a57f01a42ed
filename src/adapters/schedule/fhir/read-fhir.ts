import type { Feed, MessageRead } from '../../../domain/schedule/feed.ts'
import { CODE, notForUs, toPerson, type ReadContext } from '../read-context.ts'
import { readAppointment } from './appointment.ts'
import { readBundle } from './bundle.ts'
import { nothing, type Reading } from './reading.ts'
import { readObservation } from './observation.ts'
import { readPatient } from './patient.ts'
import { fileTogether, type Place } from './references.ts'
import { isResource, notUnderstood } from './strict.ts'
import { readSchedule, readSlot } from './slot.ts'

const READERS: Readonly<Record<string, (reading: Reading) => MessageRead>> = {
  Appointment: readAppointment,
  Patient: readPatient,
  Slot: readSlot,
  Schedule: readSchedule,
  Observation: readObservation,
}

/** What a resource of FHIR R4, or a bundle of them, says of the schedule: one answer for each, in order. */
export function readFhir(resource: unknown, feed: Feed, context: ReadContext): MessageRead[] {
  if (!isResource(resource))
    return [notForUs(CODE.type, '', 'This is no FHIR resource: it does not say what it is in resourceType.')]
  if (resource.resourceType === 'Bundle') return readBundle(resource, feed, context, readOne)
  const together = fileTogether([{ resource }], context.base)
  if (Object.hasOwn(READERS, resource.resourceType))
    return [readOne({ resource, fullUrl: undefined, together }, feed, context)]
  return [notForUs(CODE.unsupported, resource.resourceType, 'This kind of resource says nothing of a schedule.')]
}

/** Resources one a line (NDJSON), as a bulk export writes them; blank lines are passed over. */
export function readNdjson(text: string, feed: Feed, context: ReadContext): MessageRead[] {
  const lines = text
    .replace(/^\ufeff/, '')
    .split(/\r?\n/)
    .map((line, index) => ({ line, number: index + 1 }))
    .filter(({ line }) => line.trim() !== '')
    .map(({ line, number }) => ({ number, resource: parsed(line) }))
  const together = fileTogether(
    lines.map(({ resource }) => (isResource(resource) ? { resource } : {})),
    context.base,
  )
  return lines.flatMap(({ resource, number }): MessageRead[] => {
    if (!isResource(resource))
      return [toPerson(CODE.type, `line ${number}`, 'The line is no FHIR resource: one whole resource to a line.')]
    if (resource.resourceType === 'Bundle')
      return [toPerson(CODE.unsupported, `line ${number}`, 'A bundle in a line is not taken: send it by itself.')]
    return [atLine(number, readOne({ resource, fullUrl: undefined, together }, feed, context))]
  })
}

function parsed(line: string): unknown {
  try {
    return JSON.parse(line)
  } catch {
    return undefined
  }
}

function atLine(number: number, read: MessageRead): MessageRead {
  return 'news' in read ? read : { ...read, at: `line ${number}, ${read.at}` }
}

/** What else comes along, such as a place, is only looked up. */
function readOne(place: Place, feed: Feed, context: ReadContext): MessageRead {
  const { resource } = place
  if (!isResource(resource)) return toPerson(CODE.type, '', 'An entry does not say what it is in resourceType.')
  if (!Object.hasOwn(READERS, resource.resourceType)) return nothing()
  return notUnderstood(resource) ?? READERS[resource.resourceType]!({ ...place, feed, context })
}
