import { keyFrom } from '../../../../domain/schedule/schedule-news.ts'
import type { MessageRead } from '../../../../domain/schedule/feed.ts'
import { describedFeed } from '../../../../flows/schedule/described-feed.ts'
import type { Deps } from '../../../../flows/ports/deps.ts'
import type { Identified } from '../../../../flows/ports/schedule.ts'
import { takeVersioned } from '../../../../flows/schedule/take-news.ts'
import { Versions, type Addressed } from '../../../../flows/schedule/versions.ts'
import { readFhir } from '../../../schedule/fhir/read-fhir.ts'
import { isObject, type Raw } from '../../../schedule/fhir/strict.ts'
import { CODE, notForUs, toPerson } from '../../../schedule/read-context.ts'
import { contextOf } from '../../../schedule/take-bytes.ts'
import { becameOf, type Became } from './outcomes.ts'

export const KINDS = ['Appointment', 'Patient', 'Slot', 'Schedule', 'Observation']
export const FHIR_ID = /^[A-Za-z0-9\-.]{1,64}$/

/** How this sender is named; its plain ids are from this endpoint, whatever name the service is called by. */
export const SENDER = 'fhir'
export const pathOf = (feed: string) => `/api/v1/feeds/${feed}/fhir`

/** A resource with the address that it has here, and on which condition it is to be taken. */
export interface One {
  type: string
  id: string
  resource: Raw
  ifMatch: number | null
  unlessKnown: Identified | null
}

/** Takes one resource. @throws not-found where no such feed is described */
export async function takeOne(deps: Deps, name: string, one: One): Promise<Became> {
  const feed = await describedFeed(deps, name)
  const context = await contextOf(deps, SENDER, pathOf(name))
  const fault = faultOf(one)
  const reads = fault ? [fault] : readFhir(asOurs(one), feed, context)
  return take(deps, name, reads, addressed(one))
}

/** A visit that was deleted never was: that is no cancellation. */
export async function takeDeletion(deps: Deps, name: string, id: string, ifMatch: number | null): Promise<Became> {
  const feed = await describedFeed(deps, name)
  const resource = `Appointment/${id}`
  const told = await deps.store.read.feeds.toldBy(name, resource)
  const own = feed.keySystem === null ? { id, namespace: pathOf(name), occurrence: '' } : undefined
  const key = told === undefined ? own : keyFrom(told)
  const common = { sender: SENDER, messageId: '', madeAt: null, sequence: null, visit: null, patient: null }
  const read: MessageRead = key
    ? { news: [{ ...common, event: 'entered-in-error', key, doubts: [] }] }
    : toPerson(CODE.unknownKey, '', 'No appointment was told here by this address.')
  return take(deps, name, [read], { resource, ifMatch, unlessKnown: null, identifiers: [] })
}

async function take(deps: Deps, name: string, reads: readonly MessageRead[], address: Addressed): Promise<Became> {
  const versions = new Versions(new Map([[1, address]]), false)
  const lines = await takeVersioned(deps, name, reads, versions)
  return becameOf(reads[0]!, lines, versions.standing.get(1))
}

/** What is wrong with a resource at this address, before it is read. */
export function faultOf({ type, id, resource }: Pick<One, 'type' | 'id' | 'resource'>) {
  if (resource['resourceType'] !== type)
    return notForUs(CODE.type, `${type}.resourceType`, `It says that it is something else than ${type}.`)
  if (resource['id'] !== id)
    return notForUs(CODE.value, `${type}.id`, 'Its id is not that of the address. Give it the same.')
  return undefined
}

/**
 * As it is read here: how often it was told is counted by us, so its own version counts for nothing. When it was last
 * changed does, so that what comes late by another way undoes nothing; not where its sender named the version that it
 * follows.
 */
export function asOurs({ resource, ifMatch }: Pick<One, 'resource' | 'ifMatch'>): Raw {
  const { meta } = resource
  if (!isObject(meta)) return resource
  const left = ifMatch === null ? ['versionId'] : ['versionId', 'lastUpdated']
  return { ...resource, meta: Object.fromEntries(Object.entries(meta).filter(([name]) => !left.includes(name))) }
}

/** Numbers of an appointment by which it may be asked for. */
const MOST_NUMBERS = 20

export function addressed({ type, id, resource, ifMatch, unlessKnown }: One): Addressed {
  const all = type === 'Appointment' && Array.isArray(resource['identifier']) ? resource['identifier'] : []
  const identifiers = all.slice(0, MOST_NUMBERS).flatMap((each: unknown): Identified[] => {
    if (!isObject(each)) return []
    const { system, value } = each
    return typeof system === 'string' && typeof value === 'string' ? [{ system, value }] : []
  })
  return { resource: `${type}/${id}`, ifMatch, unlessKnown, identifiers }
}

/** An id as FHIR allows it, for a resource that has none yet. */
export const newFhirId = (deps: Deps) => deps.newId('a').replace('_', '-')
