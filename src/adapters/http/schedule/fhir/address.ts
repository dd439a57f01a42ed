import type { Request } from 'express'

export const FHIR_TYPE = 'application/fhir+json; charset=utf-8'

const FHIR = /^\/api\/v1\/(?:feeds\/[^/]+\/)?fhir(?:\/|$)/i

/** Whether an address speaks FHIR: then its errors do too. */
export const speaksFhir = ({ originalUrl }: Pick<Request, 'originalUrl'>): boolean =>
  FHIR.test(originalUrl.split('?', 1)[0]!)

/** Where an endpoint is, as whoever asks calls it. */
export function addressOf(request: Request, path: string): string {
  return `${request.protocol}://${request.host}${path}`
}

/** The clinics that a search names as places: by id, or as `Location/id`, wherever that is. */
export function clinicsNamed(location: unknown): string[] {
  return [location].flat().flatMap((each) => (typeof each === 'string' ? [clinicNamed(each)] : []))
}

function clinicNamed(location: string): string {
  const [, id] = /(?:^|\/)Location\/([^/]+)$/.exec(location) ?? []
  if (id === undefined) return location
  try {
    return decodeURIComponent(id)
  } catch {
    return id
  }
}
