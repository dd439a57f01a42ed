import type { Response } from 'express'
import { fromFhirId } from '../../schedule/fhir/emit/fhir-id.ts'
import type { AccessStore } from '../../../flows/ports/access.ts'

/** Patients, visits and follow-ups, as `idMaker` writes them; pages link by them, the API names them. */
const SHOWN = /(?<![0-9A-Za-z_-])[pbf][_-][0-9a-z]{19}(?![0-9A-Za-z])/g

/** Every id of a patient, visit or follow-up in what is told. */
export function idsIn(body: string): string[] {
  return [...new Set((body.match(SHOWN) ?? []).map(fromFhirId))]
}

/** The id that a part of a request may be, also as FHIR writes and refers to it: `Appointment/b-…`. */
export const idNamedBy = (value: string): string => fromFhirId(value.split('/').at(-1)!)

/** For an answer that shows patients without an id, such as a file for a spreadsheet. */
export function alsoShows(response: Response, ids: readonly string[]): void {
  response.locals.shows = ids
}

export function shownBesides({ locals }: Response): readonly string[] {
  return Array.isArray(locals.shows) ? (locals.shows as string[]) : []
}

/**
 * What an entry of the record is about: what was asked for, what was shown, and whose it is.
 * @param shown what is none of ours is left out: a patient may write anything
 */
export async function subjectsOf(
  { read }: AccessStore,
  named: readonly string[],
  shown: readonly string[],
): Promise<string[]> {
  const ids = [...new Set([...named, ...shown])]
  if (ids.length === 0) return []
  const owned = await read.whereabouts.patientsOf(ids)
  return [
    ...new Set([...named, ...owned.flatMap(({ id, patientId }) => (patientId === null ? [id] : [id, patientId]))]),
  ]
}
