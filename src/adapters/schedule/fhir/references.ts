import type { PatientId } from '../../../domain/schedule/schedule-news.ts'
import { actorSchema, type Concept, type Identifier, type Period, type Reference } from './schemas.ts'
import { isObject, isResource, type Raw } from './strict.ts'

/** A resource, the address under which it was sent, and what came with it. */
export interface Place {
  resource: Raw
  fullUrl: string | undefined
  /** Everything sent together, by full address and by `Type/id` of this sender. */
  together: Together
}

export interface Together {
  /** Where plain ids are from; empty = not said. */
  base: string
  byUrl: ReadonlyMap<string, Raw>
}

/** What a reference names: what kind of thing, its id, and the thing itself where it was sent along. */
export interface Named {
  type: string
  id: string
  /** Where the id is from; empty = the sender's own, not said. */
  base: string
  resource: Raw | undefined
}

const VERSION = /\/_history\/[^/]+$/
const ADDRESS = /^(?:(.*)\/)?([A-Z][A-Za-z]+)\/([A-Za-z0-9\-.]{1,64})$/

/** Files entries by address. Of several versions the first counts: in a history it is the newest. */
export function fileTogether(
  entries: readonly { resource?: Raw | undefined; fullUrl?: string | undefined }[],
  base: string,
) {
  const byUrl = new Map<string, Raw>()
  const home = base.replace(/\/+$/, '')
  const file = (url: string, resource: Raw) => byUrl.has(url) || byUrl.set(url, resource)
  for (const { resource, fullUrl } of entries) {
    if (!isResource(resource)) continue
    if (fullUrl !== undefined) file(fullUrl.replace(VERSION, ''), resource)
    const own = ADDRESS.exec(fullUrl ?? '')?.[1] ?? home
    if (typeof resource['id'] !== 'string' || (own !== home && home !== '')) continue
    file(`${resource.resourceType}/${resource['id']}`, resource)
  }
  return { base: home, byUrl } satisfies Together
}

/**
 * What is referred to: contained (`#p1`), by `urn:uuid:`, by full address, or relative to where this resource is from.
 * The same `Patient/1` of another server is another patient. Undefined: there is no address at all.
 */
export function resolve(reference: Reference | undefined, from: Place): Named | undefined {
  const written = reference?.reference?.replace(VERSION, '')
  if (written === undefined) return undefined
  if (written.startsWith('#')) return named(contained(written.slice(1), from.resource), false, from)
  const [, base, type, id] = ADDRESS.exec(written) ?? []
  if (id === undefined) return named(from.together.byUrl.get(written), true, from)
  const home = homeOf(from)
  const where = base ?? home
  const resource =
    from.together.byUrl.get(`${where}/${type}/${id}`) ??
    (where === home ? from.together.byUrl.get(`${type}/${id}`) : undefined)
  return { type: type!, id, base: where === home ? ownBase(from) : where, resource }
}

function homeOf({ fullUrl, together }: Place): string {
  return ADDRESS.exec(fullUrl?.replace(VERSION, '') ?? '')?.[1] ?? together.base
}

/** Where a resource's plain id is from. Empty where the feed does not say: then it is so by whatever way it comes. */
export function ownBase(from: Place): string {
  return from.together.base === '' ? '' : homeOf(from)
}

function contained(id: string, resource: Raw): Raw | undefined {
  const all = resource['contained']
  return Array.isArray(all) ? all.filter(isObject).find((one) => one['id'] === id) : undefined
}

/** A contained resource has no id by which it could be found again. */
function named(resource: Raw | undefined, hasId: boolean, from: Place): Named | undefined {
  if (!isResource(resource)) return undefined
  const id = hasId && typeof resource['id'] === 'string' ? resource['id'] : ''
  return { type: resource.resourceType, id, base: ownBase(from), resource }
}

/** What kind of thing is referred to, even where only `type` or nothing but words say it. */
export function typeOf(reference: Reference | undefined, from: Place): string {
  return resolve(reference, from)?.type ?? reference?.type?.split('/').at(-1) ?? ''
}

/** Every code under which a place or a clinician may be listed: own numbers first, then the id, then the name. */
export function codesOf(reference: Reference, from: Place): string[] {
  const found = resolve(reference, from)
  const { data } = actorSchema.safeParse(found?.resource)
  const numbers = [...(data?.identifier ?? []), ...(reference.identifier ? [reference.identifier] : [])]
  const name = typeof data?.name === 'string' ? data.name : undefined
  const codes = [...numbers.map(({ value }) => value), found?.id, name, reference.display]
  return [...new Set(codes.filter((one): one is string => one !== undefined && one !== ''))]
}

/** Codes of kinds, as coded and as written. */
export function codesIn(concepts: readonly (Concept | undefined)[]): string[] {
  const codes = concepts.flatMap((one) => [...(one?.coding ?? []).map(({ code }) => code), one?.text])
  return [...new Set(codes.filter((one): one is string => one !== undefined))]
}

/** Whether something is still in use. */
export function isCurrent(one: { use?: string | undefined; period?: Period | undefined }, now: Date): boolean {
  const end = one.period?.end
  return one.use !== 'old' && (end === undefined || end >= now.toISOString().slice(0, end.length))
}

/** Somebody's numbers, those of the resource itself last: `RI` is a resource's identifier in HL7 table 0203. */
export function idsOf(identifiers: readonly Identifier[], own: { id: string; base: string } | undefined, now: Date) {
  const numbers = identifiers
    .filter((one) => one.value !== undefined && isCurrent(one, now))
    .map(({ value, system, type }): PatientId => ({
      value: value!,
      authority: system ?? '',
      type: type?.coding?.find(({ code }) => code !== undefined)?.code ?? '',
    }))
  return own?.id ? [...numbers, { value: own.id, authority: own.base, type: 'RI' }] : numbers
}
