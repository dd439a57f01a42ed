import { describe, expect, test } from 'vitest'
import { calendarFile } from '../../src/adapters/http/private-page/calendar-file.ts'
import { badWords } from '../../src/domain/messages/texts/text-rules.ts'
import { LANGUAGES, library, pageTexts } from './example-page.ts'

const entry = {
  id: 'h3Kd',
  revision: 2,
  // Monday 9 March 2026, 9:00 in New York: 48 elapsed hours before is Saturday, 8:00 (the clocks change in between).
  visit: new Date('2026-03-09T13:00:00Z'),
  minutes: 20,
  mark: new Date('2026-03-07T13:00:00Z'),
  title: 'Appointment',
  now: new Date('2026-03-01T00:00:00Z'),
}
/** RFC 5545 §3.1: a line may be folded; CRLF and one space join it again. */
const lines = (file: string): string[] => file.replace(/\r\n[ \t]/g, '').split('\r\n')

describe('the calendar file', () => {
  test('has one event at the visit, in UTC, with start, end, stamp and sequence', () => {
    expect(lines(calendarFile(entry))).toEqual(
      expect.arrayContaining([
        'BEGIN:VCALENDAR',
        'VERSION:2.0',
        'BEGIN:VEVENT',
        'UID:h3Kd@daysix',
        'SEQUENCE:2',
        'DTSTAMP:20260301T000000Z',
        'DTSTART:20260309T130000Z',
        'DTEND:20260309T132000Z',
        'SUMMARY:Appointment',
        'CLASS:PRIVATE',
        'END:VEVENT',
        'END:VCALENDAR',
      ]),
    )
  })

  test('speaks up when the avoiding begins, by the instant and not by "two days", which a clock change would shorten', () => {
    const file = calendarFile(entry)
    expect(lines(file)).toContain('TRIGGER;VALUE=DATE-TIME:20260307T130000Z')
    expect(file).not.toMatch(/TRIGGER[^\n]*-P/)
    expect(calendarFile({ ...entry, mark: null })).not.toContain('VALARM')
  })

  test('a moved visit keeps its identity and counts up, so that the calendar moves it', () => {
    const moved = lines(calendarFile({ ...entry, revision: 3, visit: new Date('2026-03-12T13:00:00Z') }))
    expect(moved).toEqual(expect.arrayContaining(['UID:h3Kd@daysix', 'SEQUENCE:3', 'DTSTART:20260312T130000Z']))
  })

  test('its title tells nothing, in any language, and lines stay within 75 octets', () => {
    for (const code of LANGUAGES) {
      const { title } = pageTexts.get(code)!.words.calendar
      expect(badWords(title, library.languages.get(code)!.telling)).toEqual([])
      const file = calendarFile({ ...entry, title: title.repeat(6) })
      expect(lines(file)).toContain(`SUMMARY:${title.repeat(6)}`)
      for (const line of file.split('\r\n')) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75)
    }
  })
})
