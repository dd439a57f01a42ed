import type { Refusal } from '../../../src/domain/schedule/feed.ts'
import type { Feed, MessageRead } from '../../../src/domain/schedule/feed.ts'
import type { ScheduleNews } from '../../../src/domain/schedule/schedule-news.ts'
import { FEED as INVENTED } from '../invented-feed.ts'
import { parse, type Hl7Message } from '../../../src/adapters/schedule/hl7/parse.ts'
import { readMessage } from '../../../src/adapters/schedule/hl7/read-siu.ts'

/** The invented Skerry Isles Hospital, as a site would describe its feed. */
export const FEED: Feed = { ...INVENTED, patientId: { authority: 'SKERRY', type: 'MR' }, testNames: ['ZZTEST'] }

export const bytes = (text: string) => new TextEncoder().encode(text)
export const latin1 = (text: string) => Uint8Array.from(Buffer.from(text, 'latin1'))

const SEGMENTS = {
  MSH: 'MSH|^~\\&|SKERRYPAS|SKERRY|DAYSIX|SITE|20260302090000-0400||SIU^S12^SIU_S12|C0001|P|2.5.1',
  SCH: 'SCH|P100^PAS|F200^SKERRY|||||||20|min|^^^20260310103000^20260310105000||||||||||||||Booked',
  TQ1: '',
  PID: 'PID|1||007431^^^SKERRY^MR||Mabel^Ines^^^^^L||19910704|F|||||9025550142^PRN^CP||en',
  OBX: '',
  RGS: 'RGS|1|A',
  AIS: 'AIS|1|A|PAP^Cervical screening^L',
  AIL: 'AIL|1|A|GYN1^3^^SKERRY',
  AIP: 'AIP|1|A|N17^Okoro^Adaeze',
}
type Parts = Partial<Record<keyof typeof SEGMENTS | 'MORE', string>>

/** A booking, with other segments in place of the usual; an empty one is left out. */
export function siu(parts: Parts = {}): string {
  return Object.values({ ...SEGMENTS, MORE: '', ...parts })
    .filter((segment) => segment !== '')
    .map((segment) => `${segment}\r`)
    .join('')
}

/** The usual segment with other fields, by HL7's numbers. */
export function segment(name: keyof typeof SEGMENTS, fields: Record<number, string>): string {
  const parts = SEGMENTS[name].split('|')
  // MSH-1 is the delimiter itself.
  const shift = name === 'MSH' ? 1 : 0
  for (const [number, value] of Object.entries(fields)) parts[Number(number) - shift] = value
  return [...parts].map((part) => part ?? '').join('|')
}

export const msh = (event: string, fields: Record<number, string> = {}) =>
  segment('MSH', { 9: event.startsWith('S') ? `SIU^${event}^SIU_S12` : `ADT^${event}`, ...fields })
export const sch = (fields: Record<number, string>) => segment('SCH', fields)
export const pid = (fields: Record<number, string>) => segment('PID', fields)

/** The message that the bytes are; fails the test where they are none. */
export function parsed(text: string | Uint8Array, charset = FEED.charset): Hl7Message {
  const found = parse(typeof text === 'string' ? bytes(text) : text, charset)
  if ('refusal' in found) throw new Error(`refused: ${found.refusal.why}`)
  return found.message
}

export function read(text: string | Uint8Array, feed: Partial<Feed> = {}, zones: Record<string, string> = {}) {
  const described = { ...FEED, ...feed }
  return readMessage(parsed(text, described.charset), described, { zones })
}

/** The one piece of news that a message brings; fails the test where it was refused. */
export function newsOf(text: string | Uint8Array, feed: Partial<Feed> = {}, zones: Record<string, string> = {}) {
  return one(read(text, feed, zones))
}

export function one(outcome: MessageRead): ScheduleNews {
  if ('ack' in outcome) throw new Error(`refused: ${outcome.code} ${outcome.at}: ${outcome.why}`)
  if (outcome.news.length !== 1) throw new Error(`${outcome.news.length} pieces of news`)
  return outcome.news[0]!
}

/** Why a message was refused; fails the test where it was not. */
export function refusalOf(text: string | Uint8Array, feed: Partial<Feed> = {}): Refusal {
  const outcome = read(text, feed)
  if (!('ack' in outcome)) throw new Error('not refused')
  return outcome
}
