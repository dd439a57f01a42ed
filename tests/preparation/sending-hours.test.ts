import { describe, expect, it } from 'vitest'
import { toInstant, withOffset } from '../../src/domain/local-time.ts'
import { withinCaps } from '../../src/domain/preparation/caps.ts'
import { checkHours, lastAllowed, mayRing, nextAllowed } from '../../src/domain/preparation/sending-hours.ts'

const zone = 'America/New_York'
const at = (local: string) => toInstant(local, zone, 'at')
/**
 * The widest a site may set: 47 CFR 64.1200(c)(1), "before the hour of 8 a.m. or after 9 p.m. (local time at the called
 * party's location)".
 */
const widest = { weekdays: { from: '08:00', to: '21:00' }, weekend: { from: '08:00', to: '21:00' } }
/**
 * Hours like those of Canada's telemarketing rules at the weekend, 10:00-18:00 (adopted as an example; care calls are
 * outside their scope).
 */
const canadian = { weekdays: { from: '09:00', to: '21:00' }, weekend: { from: '10:00', to: '18:00' } }

describe('sending hours', () => {
  it.each([
    ['2026-03-10T07:59:59', false],
    ['2026-03-10T08:00:00', true],
    ['2026-03-10T20:59:59', true],
    ['2026-03-10T21:00:00', false], // "after 9 p.m.", read strictly
  ])('at %s a message may go out: %s', (local, allowed) => {
    expect(mayRing(at(local), zone, widest)).toBe(allowed)
  })

  it.each([
    ['2026-03-14T09:59', false],
    ['2026-03-14T10:00', true],
    ['2026-03-14T18:00', false],
  ])('on a Saturday with shorter hours, %s: %s', (local, allowed) => {
    expect(mayRing(at(local), zone, canadian)).toBe(allowed)
  })

  it('counts in the patient’s zone, not the server’s: 08:30 in New York is 05:30 in Los Angeles', () => {
    expect(mayRing(at('2026-03-10T08:30'), 'America/Los_Angeles', widest)).toBe(false)
  })

  it('waits for the very next morning, also when the clocks skip that hour of the next night', () => {
    // Nuuk: the clocks go from 23:00 to midnight on 28 March 2026 (IANA time zone database).
    const nuuk = 'America/Nuuk'
    const next = nextAllowed(toInstant('2026-03-27T23:30', nuuk, 'at'), nuuk, widest)
    expect(withOffset(next, nuuk)).toBe('2026-03-28T08:00:00-02:00')
  })

  it('waits for the morning after a clock change without losing or gaining an hour', () => {
    expect(withOffset(nextAllowed(at('2026-03-07T22:00'), zone, widest), zone)).toBe('2026-03-08T08:00:00-04:00')
    expect(withOffset(lastAllowed(at('2026-11-01T07:00'), zone, widest), zone)).toBe('2026-10-31T20:59:00-04:00')
  })

  it('refuses hours beyond the law, reversed or misspelt', () => {
    expect(
      checkHours({ weekdays: { from: '07:00', to: '20:00' }, weekend: { from: '20:00', to: '09:00' } }),
    ).toHaveLength(2)
    expect(checkHours({ weekdays: { from: '9', to: '20:00' }, weekend: { from: '09:00', to: '25:00' } })).toHaveLength(
      2,
    )
    expect(checkHours(widest)).toEqual([])
  })
})

// 47 CFR 64.1200(a)(9)(iv): one message a day and three a week for health care, voice and text combined.
describe('the caps', () => {
  it('block a second message on the same local day', () => {
    expect(withinCaps(at('2026-03-10T19:00'), [at('2026-03-10T09:00')], zone)).toBe(false)
    expect(withinCaps(at('2026-03-11T09:00'), [at('2026-03-10T19:00')], zone)).toBe(true)
  })

  it('block a fourth message in seven days, whichever window of seven is looked at', () => {
    const three = ['2026-03-10T09:00', '2026-03-12T09:00', '2026-03-16T09:00'].map(at)
    expect(withinCaps(at('2026-03-14T09:00'), three, zone)).toBe(false)
    expect(withinCaps(at('2026-03-09T09:00'), three, zone)).toBe(true)
    expect(withinCaps(at('2026-03-17T09:00'), three, zone)).toBe(true)
  })

  it('count local days, so that late evening and next morning differ', () => {
    expect(withinCaps(at('2026-03-08T09:00'), [at('2026-03-07T20:30')], zone)).toBe(true)
  })
})
