import type { Feed, MessageRead } from '../../src/domain/schedule/feed.ts'
import type { ReadContext } from '../../src/adapters/schedule/read-context.ts'
import type { ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'

/** The schedule of the invented Skerry Isles Hospital. */
export const FEED: Feed = {
  name: 'skerry',
  zone: 'America/Halifax',
  charset: 'windows-1252',
  key: 'filler',
  keySystem: null,
  patientId: { authority: '', type: '' },
  clinics: { GYN1: 'harbour', RDG: 'ridge' },
  clinicians: {},
  types: {
    PAP: { protocol: 'liquid-based-cytology', purpose: 'routine' },
    HPVC: { protocol: 'clinician-hpv', purpose: 'routine' },
  },
  statuses: {},
  languages: {},
  usualLanguage: null,
  consent: null,
  tell: null,
  settleMinutes: 5,
  columns: {},
  dateOrder: null,
  hl7Sender: { application: '', facility: '' },
  production: true,
  testNames: [],
}

export const BASE = 'https://fhir.skerry.example/r4'

export const CONTEXT: ReadContext = {
  sender: 'skerry.example',
  base: BASE,
  now: new Date('2026-03-09T12:00:00Z'),
  zones: {},
}

/** The only news; whatever else there is fails the test. */
export function onlyNews(read: readonly MessageRead[]): ScheduleNews {
  const [first, ...more] = newsOf(read)
  if (!first || more.length > 0) throw new Error(`not one piece of news: ${JSON.stringify(read)}`)
  return first
}

/** All news; a refusal fails the test. */
export function newsOf(read: readonly MessageRead[]): ScheduleNews[] {
  return read.flatMap((one) => {
    if ('news' in one) return one.news
    throw new Error(`refused: ${JSON.stringify(one)}`)
  })
}

/** The only answer, which must be a refusal. */
export function onlyRefusal(read: readonly MessageRead[]): Exclude<MessageRead, { news: unknown }> {
  const [first, ...more] = read
  if (!first || more.length > 0 || 'news' in first) throw new Error(`not one refusal: ${JSON.stringify(read)}`)
  return first
}
