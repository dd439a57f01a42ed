import { Temporal } from 'temporal-polyfill'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { toInstant, withOffset } from '../../src/domain/local-time.ts'
import { bestPrepTime, leavesRoom, prepDeadline, prepTime } from '../../src/domain/preparation/deadline.ts'
import { DEFAULT_HOURS, mayRing } from '../../src/domain/preparation/sending-hours.ts'

// RFC 5545 §3.3.6: "-PT48H" is elapsed time, "-P2D" keeps the wall clock; computed with tzdata 2025b.
const TABLE = [
  ['America/New_York', '2026-03-09T09:00', '2026-03-07T08:00'],
  ['America/New_York', '2026-11-02T09:00', '2026-10-31T10:00'],
  ['America/Toronto', '2027-03-15T08:30', '2027-03-13T07:30'],
  ['Europe/London', '2026-03-30T09:00', '2026-03-28T08:00'],
  ['Europe/London', '2026-10-26T09:00', '2026-10-24T10:00'],
  ['Australia/Sydney', '2026-04-06T09:00', '2026-04-04T10:00'],
  ['Australia/Lord_Howe', '2026-04-06T09:00', '2026-04-04T09:30'],
  ['America/St_Johns', '2026-03-09T09:00', '2026-03-07T08:00'],
  ['America/Phoenix', '2026-03-09T09:00', '2026-03-07T09:00'],
  ['America/Regina', '2026-11-02T09:00', '2026-10-31T09:00'],
  ['Australia/Brisbane', '2026-04-06T09:00', '2026-04-04T09:00'],
  ['Asia/Kolkata', '2026-03-30T09:00', '2026-03-28T09:00'],
] as const

/** Zones with and without clock changes, of whole, half and three-quarter hours. */
const ZONES = [
  'America/Halifax',
  'America/St_Johns',
  'America/Phoenix',
  'Europe/London',
  'Australia/Lord_Howe',
  'Asia/Kathmandu',
  'Pacific/Chatham',
  'Pacific/Apia',
  'Africa/Cairo',
  'America/Santiago',
]

const zone = fc.constantFrom(...ZONES)
/** Visits by day, over two years, so that every clock change is met. */
const visit = fc
  .record({
    day: fc.integer({ min: 0, max: 730 }),
    hour: fc.integer({ min: 7, max: 19 }),
    minute: fc.constantFrom(0, 10, 20, 30, 45),
    zone,
  })
  .map(({ day, hour, minute, zone: timeZone }) => {
    const date = Temporal.PlainDate.from('2026-01-01').add({ days: day })
    const at = date.toPlainDateTime({ hour, minute }).toZonedDateTime(timeZone)
    return { at: new Date(at.epochMilliseconds), zone: timeZone }
  })

describe('the mark', () => {
  it.each(TABLE)('in %s a visit at %s has its mark at %s', (timeZone, at, mark) => {
    const visitAt = toInstant(at, timeZone, 'visit')
    expect(withOffset(prepDeadline(visitAt, 48), timeZone).slice(0, 16)).toBe(mark)
    // The same by an independent library: Temporal (TC39 proposal, polyfill).
    const byTemporal = Temporal.PlainDateTime.from(at).toZonedDateTime(timeZone).subtract({ hours: 48 })
    expect(byTemporal.toPlainDateTime().toString({ smallestUnit: 'minute' })).toBe(mark)
  })

  it('is 48 elapsed hours before the visit in every zone, also across clock changes', () => {
    fc.assert(
      fc.property(visit, ({ at, zone: timeZone }) => {
        const byTemporal = Temporal.Instant.fromEpochMilliseconds(at.getTime())
          .toZonedDateTimeISO(timeZone)
          .subtract({ hours: 48 })
        expect(prepDeadline(at, 48).getTime()).toBe(byTemporal.epochMilliseconds)
      }),
    )
  })
})

describe('when preparation goes out', () => {
  it('is four hours before the mark where that is a decent hour', () => {
    const mark = toInstant('2026-03-18T15:00', 'America/Halifax', 'mark')
    expect(withOffset(bestPrepTime(mark, 'America/Halifax', DEFAULT_HOURS), 'America/Halifax')).toBe(
      '2026-03-18T11:00:00-03:00',
    )
  })

  it('is 18:00 the evening before for a visit on a morning', () => {
    const mark = toInstant('2026-03-18T10:30', 'America/Halifax', 'mark')
    expect(withOffset(bestPrepTime(mark, 'America/Halifax', DEFAULT_HOURS), 'America/Halifax')).toBe(
      '2026-03-17T18:00:00-03:00',
    )
  })

  it('is the last allowed minute where the evening is not allowed', () => {
    const hours = { weekdays: { from: '09:00', to: '16:00' }, weekend: { from: '09:00', to: '16:00' } }
    const mark = toInstant('2026-03-18T10:30', 'America/Halifax', 'mark')
    expect(withOffset(bestPrepTime(mark, 'America/Halifax', hours), 'America/Halifax')).toBe(
      '2026-03-17T15:59:00-03:00',
    )
  })

  it('is never at or after the mark, never outside sending hours, in every zone', () => {
    fc.assert(
      fc.property(visit, fc.integer({ min: 1, max: 60 * 24 * 40 }), ({ at, zone: timeZone }, minutesAhead) => {
        const now = new Date(at.getTime() - minutesAhead * 60_000)
        const mark = prepDeadline(at, 48)
        const sendAt = prepTime(now, mark, timeZone, DEFAULT_HOURS)
        if (sendAt === null) return
        expect(sendAt.getTime()).toBeLessThan(mark.getTime())
        expect(sendAt.getTime()).toBeGreaterThanOrEqual(now.getTime())
        // Judged by Temporal, not by the code under test.
        const { hour } = Temporal.Instant.fromEpochMilliseconds(sendAt.getTime()).toZonedDateTimeISO(timeZone)
        expect(hour).toBeGreaterThanOrEqual(9)
        expect(hour).toBeLessThan(20)
      }),
      { numRuns: 500 },
    )
  })

  it('says that an opening leaves room exactly when the usual schedule can still be kept', () => {
    fc.assert(
      fc.property(visit, fc.integer({ min: 1, max: 60 * 24 * 5 }), ({ at, zone: timeZone }, minutesAhead) => {
        const now = new Date(at.getTime() - minutesAhead * 60_000)
        const room = leavesRoom(now, at, 48, timeZone, DEFAULT_HOURS)
        const best = bestPrepTime(prepDeadline(at, 48), timeZone, DEFAULT_HOURS)
        expect(room).toBe(now <= best)
        if (room) expect(mayRing(best, timeZone, DEFAULT_HOURS)).toBe(true)
      }),
    )
  })
})
