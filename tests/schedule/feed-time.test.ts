import fc from 'fast-check'
import { Settings } from 'luxon'
import { Temporal } from 'temporal-polyfill'
import { afterEach, describe, expect, it } from 'vitest'
import { feedInstant, isLocalTime, offsetAt } from '../../src/domain/schedule/feed-time.ts'

const iso = (local: string, zone: string) => feedInstant(local, zone).at.toISOString()
const now = Settings.now

describe('the instant of a local time that a feed wrote', () => {
  afterEach(() => {
    Settings.now = now
  })

  // RFC 5545 §3.3.5 prints both: "TZID=America/New_York:20071104T013000" is 05:30Z, "…:20070311T023000" is 07:30Z.
  const RFC_5545 = [
    ['2007-11-04T01:30:00', '2007-11-04T05:30:00.000Z', 'twice'],
    ['2007-03-11T02:30:00', '2007-03-11T07:30:00.000Z', 'skip'],
  ] as const

  it.each(RFC_5545)('%s in New York is %s, as RFC 5545 prints it', (local, at, doubt) => {
    expect(iso(local, 'America/New_York')).toBe(at)
    expect(feedInstant(local, 'America/New_York').doubt).toContain(doubt)
  })

  it.each(['2026-01-15T12:00:00Z', '2026-07-15T12:00:00Z'])('is the same when the code runs on %s', (when) => {
    Settings.now = () => new Date(when).getTime()
    for (const [local, at] of RFC_5545) expect(iso(local, 'America/New_York')).toBe(at)
    expect(iso('2026-11-01T01:30:00', 'America/Halifax')).toBe('2026-11-01T04:30:00.000Z')
  })

  it('has no doubt for any other time', () => {
    expect(feedInstant('2026-03-10T10:30:00', 'America/Halifax')).toEqual({
      at: new Date('2026-03-10T13:30:00Z'),
      doubt: null,
    })
  })

  // Referee: Temporal (TC39), whose disambiguation "compatible" is that of RFC 5545.
  it('agrees with Temporal at all hours, beside and away from changes of the clocks', () => {
    const zones = ['America/Halifax', 'America/St_Johns', 'Europe/Dublin', 'Australia/Lord_Howe', 'Pacific/Apia', 'UTC']
    const changes = ['2026-03-08', '2026-11-01', '2026-03-29', '2026-10-25', '2026-04-05', '2011-12-30', '2026-06-15']
    const local = fc
      .record({ day: fc.constantFrom(...changes), minute: fc.integer({ min: -1440, max: 2880 }) })
      .map(({ day, minute }) =>
        Temporal.PlainDateTime.from(day).add({ minutes: minute }).toString({ smallestUnit: 'second' }),
      )
    fc.assert(
      fc.property(local, fc.constantFrom(...zones), (written, zone) => {
        const expected = Temporal.PlainDateTime.from(written).toZonedDateTime(zone, { disambiguation: 'compatible' })
        const read = feedInstant(written, zone)
        expect(read.at.getTime()).toBe(expected.epochMilliseconds)
        const plain = Temporal.PlainDateTime.from(written)
        const [first, second] = (['earlier', 'later'] as const).map((disambiguation) =>
          plain.toZonedDateTime(zone, { disambiguation }),
        )
        expect(read.doubt === null).toBe(first!.equals(second!))
        expect(offsetAt(read.at, zone)).toBe(expected.offsetNanoseconds / 60e9)
      }),
      { numRuns: 2_000 },
    )
  })

  it.each([
    '2026-02-29T10:00:00',
    '2026-03-10T24:00:00',
    '2026-13-01T10:00:00',
    '2026-03-10T10:60:00',
    '2026-03-10',
    '',
  ])('refuses "%s"', (local) => {
    expect(isLocalTime(local)).toBe(false)
    expect(() => feedInstant(local, 'America/Halifax')).toThrow(expect.objectContaining({ code: 'bad-input' }))
  })

  it('refuses a zone that nobody knows', () => {
    expect(() => feedInstant('2026-03-10T10:00:00', 'Skerry/Harbour')).toThrow()
  })
})
