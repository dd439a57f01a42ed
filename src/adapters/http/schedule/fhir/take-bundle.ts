import type { CheckLine } from '../../../../domain/schedule/check-line.ts'
import type { MessageRead } from '../../../../domain/schedule/feed.ts'
import { describedFeed } from '../../../../flows/schedule/described-feed.ts'
import type { Deps } from '../../../../flows/ports/deps.ts'
import { takeNews, takeVersioned } from '../../../../flows/schedule/take-news.ts'
import { Unmet, Versions, type Addressed } from '../../../../flows/schedule/versions.ts'
import { readFhir } from '../../../schedule/fhir/read-fhir.ts'
import { isObject, type Raw } from '../../../schedule/fhir/strict.ts'
import { CODE, notForUs } from '../../../schedule/read-context.ts'
import { contextOf } from '../../../schedule/take-bytes.ts'
import { BAD_CRITERIA, BAD_VERSION, identifierIn, versionIn } from './asked.ts'
import { becameOf, type Became } from './outcomes.ts'
import { addressed, asOurs, faultOf, FHIR_ID, KINDS, newFhirId, pathOf, SENDER } from './take-one.ts'

/** What became of a bundle: of each entry, or of the whole where none of it was taken. */
export type BundleBecame =
  | { type: 'transaction-response' | 'batch-response'; entries: readonly Became[] }
  | { refused: Became; at: readonly number[]; entries: readonly Became[] }

/** An entry as it is read, and where it is wrong before that. */
interface Prepared {
  entry: unknown
  address: Addressed | undefined
  fault: ReturnType<typeof notForUs> | undefined
}

/**
 * Takes a bundle: a transaction wholly or not at all, of all others each entry by itself. What waits for a person is
 * taken.
 */
export async function takeBundle(deps: Deps, name: string, bundle: Raw): Promise<BundleBecame> {
  const feed = await describedFeed(deps, name)
  const context = await contextOf(deps, SENDER, pathOf(name))
  const isWhole = bundle['type'] === 'transaction'
  const asks = isWhole || bundle['type'] === 'batch'
  const entries: unknown[] = Array.isArray(bundle['entry']) ? bundle['entry'] : []
  const prepared = entries.map((entry) => prepare(deps, entry, asks))
  const read = readFhir(
    { ...bundle, ...(entries.length > 0 && { entry: prepared.map(({ entry }) => entry) }) },
    feed,
    context,
  )
  const whole = read[0]
  if (whole && 'ack' in whole && !whole.at.startsWith('Bundle.entry[')) {
    await takeNews(deps, name, [whole])
    return { refused: becameOf(whole, [], undefined), at: [], entries: [] }
  }
  const reads = read.map((one, index) => prepared[index]?.fault ?? one)
  const addresses = prepared.flatMap(({ address }, index) => (address ? [[index + 1, address] as const] : []))
  const versions = new Versions(new Map(addresses), isWhole)
  return isWhole
    ? takeWhole(deps, name, reads, versions)
    : { type: 'batch-response', entries: await all(deps, name, reads, versions) }
}

async function all(deps: Deps, name: string, reads: readonly MessageRead[], versions: Versions): Promise<Became[]> {
  const lines = await takeVersioned(deps, name, reads, versions)
  const byEntry = new Map<number, CheckLine[]>()
  for (const line of lines) byEntry.set(line.n, [...(byEntry.get(line.n) ?? []), line])
  return reads.map((read, index) => becameOf(read, byEntry.get(index + 1) ?? [], versions.standing.get(index + 1)))
}

async function takeWhole(
  deps: Deps,
  name: string,
  reads: readonly MessageRead[],
  versions: Versions,
): Promise<BundleBecame> {
  const refused = reads.flatMap((read, index) => ('ack' in read ? [index] : []))
  if (refused.length > 0) {
    // The faults alone are kept, for whoever looks after the feed.
    await takeNews(
      deps,
      name,
      refused.map((index) => reads[index]!),
    )
    const entries = refused.map((index) => becameOf(reads[index]!, [], undefined))
    return { refused: entries[0]!, at: refused, entries }
  }
  try {
    const entries = await all(deps, name, reads, versions)
    // It was taken, and waits for a person: of a transaction that is no failure.
    return {
      type: 'transaction-response',
      entries: entries.map((one) => (one.status === 422 ? { ...one, status: 202 } : one)),
    }
  } catch (error) {
    if (!(error instanceof Unmet)) throw error
    const unmet = becameOf(reads[error.n - 1]!, [], error.standing)
    return { refused: unmet, at: [error.n - 1], entries: [unmet] }
  }
}

/** What an entry asks for, by its `request` (R4 Bundle); without one it is an update by its sender's id. */
function prepare(deps: Deps, entry: unknown, asks: boolean): Prepared {
  const plain = { entry, address: undefined, fault: undefined }
  if (!isObject(entry)) return plain
  const request = isObject(entry['request']) ? entry['request'] : {}
  const { resource } = entry
  if (asks && (request['method'] === 'GET' || request['method'] === 'HEAD'))
    return { ...plain, fault: notForUs(CODE.unsupported, 'request.method', 'Nothing is read back here.') }
  if (!isObject(resource) || !KINDS.includes(String(resource['resourceType']))) return plain
  const type = String(resource['resourceType'])
  if (!asks) {
    const id = typeof resource['id'] === 'string' && FHIR_ID.test(resource['id']) ? resource['id'] : undefined
    return id === undefined
      ? plain
      : { ...plain, address: addressed({ type, id, resource, ifMatch: null, unlessKnown: null }) }
  }
  return prepareAsked(deps, entry, request, type, resource)
}

function prepareAsked(deps: Deps, entry: Raw, request: Raw, type: string, resource: Raw): Prepared {
  const plain = { entry, address: undefined, fault: undefined }
  const refuse = (at: string, why: string) => ({ ...plain, fault: notForUs(CODE.unsupported, at, why) })
  const { method, url } = request
  const ifMatch = versionIn(request['ifMatch'])
  const unlessKnown = identifierIn(request['ifNoneExist'])
  if (ifMatch === undefined) return refuse('request.ifMatch', BAD_VERSION)
  if (unlessKnown === undefined || (unlessKnown && type !== 'Appointment'))
    return refuse('request.ifNoneExist', BAD_CRITERIA)
  if (method === 'POST') {
    const id = newFhirId(deps)
    const own = { ...asOurs({ resource, ifMatch }), id }
    return {
      ...plain,
      entry: { ...entry, resource: own },
      address: addressed({ type, id, resource, ifMatch: null, unlessKnown }),
    }
  }
  if (method !== 'PUT') return plain
  const [, id] = new RegExp(`^${type}/([A-Za-z0-9.-]{1,64})$`).exec(typeof url === 'string' ? url : '') ?? []
  if (id === undefined) return refuse('request.url', `Name it by its address, e.g. ${type}/a1; others are not taken.`)
  const fault = faultOf({ type, id, resource })
  if (fault) return { ...plain, fault }
  const address = addressed({ type, id, resource, ifMatch, unlessKnown: null })
  return { entry: { ...entry, resource: asOurs({ resource, ifMatch }) }, address, fault: undefined }
}
