import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readCalendar } from '../../../src/adapters/schedule/icalendar/read-calendar.ts'
import type { Feed } from '../../../src/domain/schedule/feed.ts'
import { CONTEXT, FEED, onlyNews, onlyRefusal } from '../invented-feed.ts'
import { mutatedText } from '../mutated.ts'

const calendar = (event: string[], head: string[] = []) =>
  [...['BEGIN:VCALENDAR', 'VERSION:2.0'], ...head, 'BEGIN:VEVENT', ...event, 'END:VEVENT', 'END:VCALENDAR', ''].join(
    '\r\n',
  )
const EVENT = [
  'UID:a1@skerry.example',
  'DTSTAMP:20260301T100000Z',
  'SEQUENCE:2',
  'DTSTART;TZID=America/Halifax:20260320T090000',
  'DTEND;TZID=America/Halifax:20260320T092000',
  'CATEGORIES:PAP',
  'LOCATION:GYN1',
]
const read = (text: string | Uint8Array, over: Partial<Feed> = {}) => readCalendar(text, { ...FEED, ...over }, CONTEXT)
const event = (changes: Record<string, string | null>, head: string[] = []) => {
  const kept = EVENT.filter((line) => !Object.keys(changes).some((name) => line.split(/[;:]/)[0] === name))
  return calendar([...kept, ...Object.entries(changes).flatMap(([, line]) => line ?? [])], head)
}
const startOf = (line: string) => onlyNews(read(event({ DTSTART: line, DTEND: null }))).visit?.startsAt?.toISOString()

// Source of what is checked, unless said otherwise: RFC 5545, by section.
describe('an event', () => {
  it('is a visit (§3.6.1)', () => {
    expect(onlyNews(read(calendar(EVENT)))).toMatchObject({
      event: 'booked',
      key: { id: 'a1@skerry.example', occurrence: '' },
      sequence: 2,
      madeAt: new Date('2026-03-01T10:00:00Z'),
      visit: { startsAt: new Date('2026-03-20T12:00:00Z'), minutes: 20, places: ['GYN1'], types: ['PAP'] },
      patient: null,
    })
  })

  it('has the patient where the feed says it has', () => {
    const columns = { patientId: 'X-SKERRY-MRN', name: 'SUMMARY', mobile: 'X-SKERRY-MOBILE' }
    const lines = { SUMMARY: 'SUMMARY:Gale\\, Ines', M: 'X-SKERRY-MRN:00417', X: 'X-SKERRY-MOBILE:+1-902-555-0101' }
    expect(onlyNews(read(event(lines), { columns })).patient).toEqual({
      ids: [{ value: '00417', authority: '', type: '' }],
      name: 'Gale, Ines',
      phones: [{ number: '+1-902-555-0101', kind: 'mobile' }],
    })
  })

  it('of a patient who does not exist is not for us', () => {
    const over = { columns: { name: 'SUMMARY' }, testNames: ['ZZTEST'] }
    expect(onlyRefusal(read(event({ SUMMARY: 'SUMMARY:Anna ZZTEST' }), over))).toMatchObject({ ack: 'AR', code: 202 })
  })

  it.each([
    ['STATUS:CONFIRMED', 'booked'],
    ['STATUS:CANCELLED', 'cancelled'],
  ])('%s is %s (§3.8.1.11)', (status, what) => {
    expect(onlyNews(read(event({ STATUS: status }))).event).toBe(what)
  })

  it('that is tentative is no booking, of another status is for a person', () => {
    expect(read(event({ STATUS: 'STATUS:TENTATIVE' }))).toMatchObject([{ news: [], doubts: [{}] }])
    expect(onlyRefusal(read(event({ STATUS: 'STATUS:NEEDS-ACTION' }))).at).toBe('event 1, STATUS')
  })

  // Source: RFC 5546 §1.4, §3.2.5.
  it('of METHOD:CANCEL is cancelled, even without its time; answers are no schedule', () => {
    expect(onlyNews(read(event({ DTSTART: null, DTEND: null }, ['METHOD:CANCEL']))).event).toBe('cancelled')
    expect(onlyRefusal(read(event({}, ['METHOD:REPLY'])))).toMatchObject({ ack: 'AR', at: 'METHOD' })
  })

  it('of a series has its own occurrence, the series itself is for a person (§3.8.4.4, §3.8.5)', () => {
    const one = event({ 'RECURRENCE-ID': 'RECURRENCE-ID;TZID=America/Halifax:20260320T090000' })
    expect(onlyNews(read(one)).key?.occurrence).toBe('20260320T090000')
    expect(onlyRefusal(read(event({ RRULE: 'RRULE:FREQ=WEEKLY' })))).toMatchObject({ ack: 'AE', at: 'event 1, RRULE' })
  })

  it.each([
    ['PT20M', 20],
    ['PT1H30M', 90],
    ['PT15M0S', 15],
  ])('lasts %s: %i minutes (§3.3.6)', (duration, minutes) => {
    expect(onlyNews(read(event({ DTEND: null, DURATION: `DURATION:${duration}` }))).visit?.minutes).toBe(minutes)
  })

  it.each([
    ['both an end and a length (§3.6.1)', { DURATION: 'DURATION:PT20M' }, 'event 1, DURATION'],
    ['no UID', { UID: null }, 'event 1, UID'],
    ['no beginning', { DTSTART: null }, 'event 1, DTSTART'],
    ['a whole day', { DTSTART: 'DTSTART;VALUE=DATE:20260320', DTEND: null }, 'event 1, DTSTART'],
    ['30 February', { DTSTART: 'DTSTART:20260230T090000Z', DTEND: null }, 'event 1, DTSTART'],
    ['an end before the beginning', { DTEND: 'DTEND:20260320T080000Z' }, 'event 1, DTEND'],
    [
      'a zone without an IANA name',
      { DTSTART: 'DTSTART;TZID=Atlantic:20260320T090000', DTEND: null },
      'event 1, DTSTART',
    ],
  ])('with %s is for a person', (_what, changes, at) => {
    expect(onlyRefusal(read(event(changes)))).toMatchObject({ ack: 'AE', at })
  })

  it('has an alarm that is none of its own properties', () => {
    const alarm = ['BEGIN:VALARM', 'UID:alarm', 'DURATION:PT5M', 'END:VALARM']
    expect(onlyNews(read(calendar([...alarm, ...EVENT]))).key?.id).toBe('a1@skerry.example')
  })
})

describe('a time', () => {
  // Source: values printed in RFC 5545 §3.3.5.
  it.each([
    ['DTSTART;TZID=America/New_York:20071104T013000', '2007-11-04T05:30:00.000Z'],
    ['DTSTART;TZID=America/New_York:20070311T023000', '2007-03-11T07:30:00.000Z'],
    ['DTSTART:19980119T070000Z', '1998-01-19T07:00:00.000Z'],
    ['DTSTART;TZID=America/New_York:19980119T020000', '1998-01-19T07:00:00.000Z'],
  ])('%s is %s', (line, utc) => {
    expect(startOf(line)).toBe(utc)
  })

  it('that floats is that of the place', () => {
    expect(startOf('DTSTART:20260320T090000')).toBe('2026-03-20T12:00:00.000Z')
    expect(startOf('DTSTART;TZID="America/Halifax":20260320T090000')).toBe('2026-03-20T12:00:00.000Z')
  })
})

describe('lines', () => {
  it('are unfolded before they are decoded: a fold may stand within a letter (§3.1)', () => {
    const [before, after] = calendar([...EVENT, 'SUMMARY:Zoë']).split('ë') as [string, string]
    const octets = [...Buffer.from(before), 0xc3, 0x0d, 0x0a, 0x20, 0xab, ...Buffer.from(after)]
    expect(onlyNews(read(Uint8Array.from(octets))).visit?.types).toEqual(['PAP', 'Zoë'])
  })

  it('have escapes (§3.3.11), and lists are cut at commas only', () => {
    const lines = { CATEGORIES: 'CATEGORIES:A\\,B,C\\;D\\\\n' }
    expect(onlyNews(read(event(lines))).visit?.types).toEqual(['A,B', 'C;D\\n'])
  })

  it('that break off are said to', () => {
    const answers = read(calendar(EVENT).replace('END:VCALENDAR\r\n', ''))
    expect(answers).toMatchObject([{ news: [{}] }, { ack: 'AE', at: 'END' }])
  })
})

it.each(['', 'x', '{}'])('%j is no calendar', (text) => {
  expect(onlyRefusal(read(text))).toMatchObject({ ack: 'AR' })
})

it('whatever the calendar holds is answered, never thrown at', () => {
  let booked = 0
  const whole = calendar([...EVENT, 'SUMMARY:Gale\\, Ines', 'ORGANIZER;CN="Dr, D":mailto:d4@skerry.example'])
  fc.assert(
    fc.property(mutatedText([whole]), (text) => {
      for (const answer of read(text)) booked += 'news' in answer ? answer.news.length : 0
    }),
    { numRuns: 3_000 },
  )
  expect(booked).toBeGreaterThan(500)
})
