import { CODE, toPerson } from '../read-context.ts'
import { entry } from '../../../domain/schedule/entry.ts'
import type { Feed, Refusal } from '../../../domain/schedule/feed.ts'
import type { ScheduleEvent } from '../../../domain/schedule/schedule-news.ts'
import { text, type Segment } from './parse.ts'

/** HL7 table 0003: the events that are read, by message type. */
export const EVENTS: Readonly<Record<string, Readonly<Record<string, ScheduleEvent>>>> = {
  SIU: {
    S12: 'booked',
    S13: 'moved',
    S14: 'changed',
    S15: 'cancelled',
    S16: 'series-ended',
    S17: 'entered-in-error',
    S23: 'times-closed',
    S24: 'times-opened',
    S26: 'no-show',
  },
  ADT: { A08: 'patient', A28: 'patient', A31: 'patient', A40: 'patients-merged' },
}

/**
 * HL7 table 0278 → what it says of a visit; `stands` = no more than the event, `none` = there is no such visit here.
 * After the map to FHIR's Appointment.status of HL7's "Version 2 to FHIR" 1.0.0 (Table HL70278 to Appointmentstatus):
 * started → checked-in, complete → fulfilled, cancelled, deleted → entered-in-error, noshow. It has none for
 * discontinued and blocked; who is on a waiting list has no visit to prepare for.
 */
const TABLE_0278: Readonly<Record<string, ScheduleEvent | 'stands' | 'none'>> = {
  BOOKED: 'stands',
  PENDING: 'stands',
  OVERBOOK: 'stands',
  STARTED: 'arrived',
  COMPLETE: 'arrived',
  CANCELLED: 'cancelled',
  DELETED: 'entered-in-error',
  NOSHOW: 'no-show',
  WAITLIST: 'none',
  DISCONTINUED: 'none',
  DC: 'none',
  BLOCKED: 'none',
}

const LIVE: ReadonlySet<ScheduleEvent> = new Set(['booked', 'changed', 'moved'])
const ENDINGS: ReadonlySet<ScheduleEvent> = new Set(['cancelled', 'series-ended', 'entered-in-error', 'no-show'])

/** The sender's own status: its code, else its words. */
export function statusOf(sch: Segment): string {
  return text(sch, 25) || text(sch, 25, 1, 2)
}

/** Whether the status says that the visit was put in beside another. */
export function isOverbooked(status: string): boolean {
  return status.toUpperCase() === 'OVERBOOK'
}

/**
 * What happened to a visit: the event, made more precise by the status. The feed's description comes first, then the
 * standard's table. A status that nobody knows changes nothing: visits are neither made nor ended by a word alone.
 */
export function visitEvent(trigger: string, status: string, feed: Feed, doubts: string[]): ScheduleEvent | Refusal {
  const byTrigger = entry(feed.statuses, trigger) ?? EVENTS.SIU![trigger]!
  if (status === '') return byTrigger
  const said = entry(feed.statuses, status) ?? entry(TABLE_0278, status)
  if (said === undefined) {
    doubts.push('SCH-25 has a status that nobody here knows: it changed nothing. Describe it among the statuses.')
    return byTrigger
  }
  return LIVE.has(byTrigger) ? ofLive(byTrigger, said, doubts) : ofEnded(byTrigger, said, doubts)
}

function ofLive(
  byTrigger: ScheduleEvent,
  said: ScheduleEvent | 'stands' | 'none',
  doubts: string[],
): ScheduleEvent | Refusal {
  if (said === 'none')
    return toPerson(CODE.value, 'SCH^1^25', 'This status is of no visit that is booked. Describe what it means here.')
  if (said === 'stands' || LIVE.has(said)) return byTrigger
  doubts.push(`The event says that the visit was ${byTrigger}, the status "${said}": the status counts.`)
  return said
}

/** An ending is never taken back by a status that the sender may have forgotten to change. */
function ofEnded(byTrigger: ScheduleEvent, said: ScheduleEvent | 'stands' | 'none', doubts: string[]): ScheduleEvent {
  if (said === 'none' || said === byTrigger) return byTrigger
  if (said !== 'stands' && ENDINGS.has(said)) return said
  doubts.push(`SCH-25 contradicts the event, which says "${byTrigger}": the event counts.`)
  return byTrigger
}
