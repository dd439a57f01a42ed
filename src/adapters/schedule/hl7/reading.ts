import { CODE, toPerson } from '../read-context.ts'
import type { Feed, Refusal } from '../../../domain/schedule/feed.ts'
import { segmentsOf, text, type Hl7Message, type Segment } from './parse.ts'
import { instantOf, isExact, readDtm } from './times.ts'

/** One message while it is read. */
export interface Reading {
  message: Hl7Message
  feed: Feed
  /** Of times without an offset: the clinic's own where its place was told, else the feed's. */
  zone: string
  /** Grows while reading; names no patient. */
  doubts: string[]
}

/** What is booked, part by part: a service, a place, a clinician. */
export type ResourceName = 'AIS' | 'AIL' | 'AIP'
const DELETED = 'D'

/**
 * The resource segments that hold, in the groups in which they came. In update mode (table 0206) segments are changes:
 * one with D, or within an RGS with D, names what is no more.
 */
export function resourceGroups(message: Hl7Message): Segment[][] {
  const groups: Segment[][] = [[]]
  let gone = false
  for (const segment of message.segments) {
    if (segment.name === 'RGS') {
      gone = text(segment, 2) === DELETED
      groups.push([])
    }
    const resource = segment.name === 'AIS' || segment.name === 'AIL' || segment.name === 'AIP'
    if (resource && !gone && text(segment, 2) !== DELETED) groups.at(-1)!.push(segment)
  }
  return groups.filter((group) => group.length > 0)
}

/** The resource segments of one kind that hold. */
export function resources(message: Hl7Message, name: ResourceName): Segment[] {
  return resourceGroups(message)
    .flat()
    .filter((segment) => segment.name === name)
}

/** What is unusual about the order of a schedule's segments; many senders do so, and nothing is lost by it. */
export function orderDoubts(message: Hl7Message): string[] {
  const names = message.segments.map(({ name }) => name)
  const doubts: string[] = []
  const first = (name: string) => names.indexOf(name)
  if (first('RGS') < 0) doubts.push('There is no RGS segment before the resources.')
  if (first('AIL') >= 0 && first('AIS') > first('AIL')) doubts.push('AIL stands before AIS.')
  return doubts
}

/** An instant that was told to the minute; null where it is not one. Doubts about the clocks are kept. */
export function instant(written: string, at: string, reading: Reading): Date | null {
  const dtm = readDtm(written)
  if (dtm === null || !isExact(dtm)) return null
  const read = instantOf(dtm, reading.zone)
  if (read.doubt !== null) reading.doubts.push(`${at}: ${read.doubt}`)
  if (dtm.local.endsWith('T00:00:00')) reading.doubts.push(`${at} is midnight: perhaps no time of day was meant.`)
  return read.at
}

/** The only segment of its name; a refusal where there is none, or more than one. */
export function oneOf(message: Hl7Message, name: string): Refusal | Segment {
  const all = segmentsOf(message, name)
  if (all.length === 0) return toPerson(CODE.segment, name, `There is no ${name} segment.`)
  if (all.length > 1)
    return toPerson(CODE.cardinality, name, `There is more than one ${name} segment. Send a message for each.`)
  return all[0]!
}

/** Whether something is a refusal, and no more is to be read. */
export function isRefusal<T extends object>(outcome: T | Refusal): outcome is Refusal {
  return 'ack' in outcome
}
