import { CODE, toPerson, notForUs, notAPatient, zoneAt, type ReadContext } from '../read-context.ts'
import { entry } from '../../../domain/schedule/entry.ts'
import type { Feed, MessageRead, Refusal } from '../../../domain/schedule/feed.ts'
import type { ScheduleEvent, ScheduleNews, ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { timesOf } from './diary.ts'
import { get, repetitions, segmentOf, segmentsOf, text, type Hl7Message, type Segment } from './parse.ts'
import { idsOf, patientOf } from './person.ts'
import { isRefusal, oneOf, orderDoubts, type Reading } from './reading.ts'
import { EVENTS, statusOf, visitEvent } from './statuses.ts'
import { instantOf, isExact, readDtm, zoneDoubt } from './times.ts'
import { keyOf, placesOf, visitOf } from './visit.ts'

/** What a message of a schedule (SIU, versions 2.3 to 2.8) or of patients (ADT) says. It never throws. */
export function readMessage(message: Hl7Message, feed: Feed, context: Pick<ReadContext, 'zones'>): MessageRead {
  const msh = message.segments[0]!
  const { type, event } = typeOf(message)
  const what = entry(entry(EVENTS, type) ?? {}, event)
  const refused = refuseHead(msh, type, what, feed)
  if (refused) return refused
  const doubts = [...message.doubts, ...versionDoubt(msh)]
  const reading: Reading = { message, feed, zone: zoneAt(placesOf(message), feed, context), doubts }
  const clock = zoneDoubt(readDtm(text(msh, 7)), reading.zone)
  if (clock !== null) doubts.push(clock)
  const head = headOf(msh, reading)
  return type === 'SIU' ? schedule(head, event, what!, reading) : people(head, what!, reading)
}

/** What is the same in all that a message brings. */
type Head = Pick<ScheduleNews, 'sender' | 'messageId' | 'madeAt' | 'sequence'>

/** Type and event of a message; ADT of old versions say the event in EVN alone. */
export function typeOf(message: Hl7Message): { type: string; event: string } {
  const msh = message.segments[0]
  return { type: text(msh, 9), event: text(msh, 9, 1, 2) || text(segmentOf(message, 'EVN'), 1) }
}

const READABLE = /^2(\.\d{1,2}){1,2}$/
const KNOWN = /^2\.[3-8](\.\d)?$/

function refuseHead(msh: Segment, type: string, what: ScheduleEvent | undefined, feed: Feed): Refusal | null {
  const [version, processing] = [text(msh, 12), text(msh, 11)]
  if (version !== '' && !READABLE.test(version))
    return notForUs(CODE.version, 'MSH^1^12', 'This version cannot be read. Send 2.3 to 2.8.')
  const events = entry(EVENTS, type)
  if (events === undefined) return notForUs(CODE.unsupported, 'MSH^1^9', 'Only SIU and ADT messages are read here.')
  if (what === undefined)
    return notForUs(CODE.event, 'MSH^1^9', `Of ${type} only these are read: ${Object.keys(events).join(', ')}.`)
  if (text(msh, 10) === '') return toPerson(CODE.missing, 'MSH^1^10', 'The message has no control id to answer by.')
  if (processing === '') return toPerson(CODE.missing, 'MSH^1^11', 'Nothing says whether this is production or a test.')
  if (feed.production && processing !== 'P')
    return notForUs(CODE.test, 'MSH^1^11', 'This is no message of production (P), and here are real patients.')
  return null
}

function versionDoubt(msh: Segment): string[] {
  return KNOWN.test(text(msh, 12)) ? [] : ['MSH-12 names no version that is known here: read as 2.5.1.']
}

function headOf(msh: Segment, { feed, doubts }: Reading): Head {
  const named = [3, 4].map((field) => text(msh, field) || text(msh, field, 1, 2))
  const made = readDtm(text(msh, 7))
  const at = made && isExact(made) ? instantOf(made, feed.zone) : null
  if (at === null) doubts.push('MSH-7 does not say when the message was made: the order of arrival counts.')
  else if (at.doubt !== null) doubts.push(`MSH-7: ${at.doubt}`)
  return {
    sender: named.filter((name) => name !== '').join('/'),
    messageId: text(msh, 10),
    madeAt: at?.at ?? null,
    // MSH-13 counts the messages of a connection and may begin anew: news would then be taken for old.
    sequence: null,
  }
}

function schedule(head: Head, trigger: string, what: ScheduleEvent, reading: Reading): MessageRead {
  const sch = oneOf(reading.message, 'SCH')
  if (isRefusal(sch)) return sch
  reading.doubts.push(...orderDoubts(reading.message))
  if (what === 'times-closed' || what === 'times-opened') {
    const times = timesOf(sch, what, reading)
    return isRefusal(times)
      ? times
      : news({ ...head, event: what, key: null, visit: null, patient: null, times, doubts: reading.doubts })
  }
  return visitNews(head, trigger, sch, reading)
}

const NEEDS_PATIENT: ReadonlySet<ScheduleEvent> = new Set(['booked', 'moved', 'changed'])

function visitNews(head: Head, trigger: string, sch: Segment, reading: Reading): MessageRead {
  const { message, feed, doubts } = reading
  const event = visitEvent(trigger, statusOf(sch), feed, doubts)
  if (typeof event !== 'string') return event
  const key = keyOf(sch, feed)
  if (isRefusal(key)) return key
  const patient = onePatient(event, reading)
  if (patient !== null && isRefusal(patient)) return patient
  const visit = visitOf(sch, event, reading)
  if (isRefusal(visit)) return visit
  if (get(sch, 11, 2, 4) !== undefined) doubts.push('SCH-11 tells several times: the first was taken.')
  if (segmentsOf(message, 'TQ1').length > 1) doubts.push('There are several TQ1: the first was taken.')
  return news({ ...head, event, key, visit, patient, doubts })
}

function onePatient(event: ScheduleEvent, { message, feed, doubts }: Reading): ToldPatient | Refusal | null {
  if (segmentOf(message, 'PID') === undefined && !NEEDS_PATIENT.has(event)) return null
  const pid = oneOf(message, 'PID')
  if (isRefusal(pid)) return pid
  return person(pid, NEEDS_PATIENT.has(event), message, feed, doubts)
}

function person(pid: Segment, byId: boolean, message: Hl7Message, feed: Feed, doubts: string[]): ToldPatient | Refusal {
  const families = repetitions(pid, 5).map((n) => text(pid, 5, n))
  // The sender's engine is told the same as for MSH-11: a test came to production. No person needs to look.
  const test = notAPatient(families, feed, 'PID^1^5')
  if (test) return test
  const patient = patientOf(pid, message, doubts)
  if (byId && patient.ids.length === 0) return toPerson(CODE.missing, 'PID^1^3', 'The patient has no id.')
  return patient
}

function people(head: Head, event: ScheduleEvent, reading: Reading): MessageRead {
  return event === 'patients-merged' ? merges(head, reading) : onePerson(head, event, reading)
}

function onePerson(head: Head, event: ScheduleEvent, { message, feed, doubts }: Reading): MessageRead {
  const pid = oneOf(message, 'PID')
  if (isRefusal(pid)) return pid
  const patient = person(pid, true, message, feed, doubts)
  return isRefusal(patient) ? patient : news({ ...head, event, key: null, visit: null, patient, doubts })
}

/** A40: each PID, and in the MRG after it the ids that are no more. */
function merges(head: Head, { message, feed, doubts }: Reading): MessageRead {
  const found: ScheduleNews[] = []
  const pids = segmentsOf(message, 'PID')
  const old = segmentsOf(message, 'MRG')
  if (pids.length === 0) return toPerson(CODE.segment, 'PID', 'There is no PID segment.')
  if (pids.length !== old.length) return toPerson(CODE.segment, 'MRG', 'Each PID needs an MRG that says which id ends.')
  for (const [index, pid] of pids.entries()) {
    const patient = person(pid, true, message, feed, doubts)
    if (isRefusal(patient)) return patient
    const mergedIds = idsOf(old[index]!, 1)
    if (mergedIds.length === 0) return toPerson(CODE.missing, `MRG^${index + 1}^1`, 'Nothing says which id ends.')
    const messageId = index === 0 ? head.messageId : `${head.messageId}/${index + 1}`
    found.push({ ...head, messageId, event: 'patients-merged', key: null, visit: null, patient, mergedIds, doubts })
  }
  return { news: found }
}

const news = (one: ScheduleNews): MessageRead => ({ news: [{ ...one, doubts: [...new Set(one.doubts)] }] })
