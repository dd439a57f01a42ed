import { clinicOf, entry } from '../../domain/schedule/entry.ts'
import type { Feed, Refusal } from '../../domain/schedule/feed.ts'

/** What a reader is told beside the words themselves and the feed's description. */
export interface ReadContext {
  /** How the sender is named: a server's address, a file's name. */
  sender: string
  /** Where plain ids are from, e.g. a FHIR server's base address; empty = not said. */
  base: string
  now: Date
  /** Zones of our clinics, for times without an offset; a clinic that is missing has the feed's. */
  zones: Readonly<Record<string, string>>
}

/** HL7 table 0357; what is no HL7 message uses what fits. */
export const CODE = {
  segment: 100,
  missing: 101,
  type: 102,
  value: 103,
  cardinality: 198,
  unsupported: 200,
  event: 201,
  test: 202,
  version: 203,
  unknownKey: 204,
  person: 207,
} as const

/** Content that a person must look at. */
export function toPerson(code: number, at: string, why: string): Refusal {
  return { ack: 'AE', code, at, why }
}

/** Not for us at all, or to be sent again after mending. */
export function notForUs(code: number, at: string, why: string): Refusal {
  return { ack: 'AR', code, at, why }
}

/** Of somebody who does not exist: a test that came to where patients are. Undefined = a patient, by the name. */
export function notAPatient(families: readonly string[], { testNames }: Feed, at: string): Refusal | undefined {
  const begins = (family: string, test: string) => test !== '' && family.toLowerCase().startsWith(test.toLowerCase())
  return families.some((family) => testNames.some((test) => begins(family, test)))
    ? notForUs(CODE.test, at, 'This name is one of patients who do not exist.')
    : undefined
}

/** The zone in which a place writes its times. */
export function zoneAt(places: readonly string[], feed: Feed, context: Pick<ReadContext, 'zones'>): string {
  const clinic = clinicOf(places, feed)
  return (clinic && entry(context.zones, clinic)) ?? feed.zone
}
