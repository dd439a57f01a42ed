import { DateTime } from 'luxon'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { DEFAULT_HOURS, mayRing } from '../../../src/domain/preparation/sending-hours.ts'
import { afterCall, MOST_CALLS, NOT_REACHED } from '../../../src/domain/messages/voice/retry-call.ts'

const ZONE = 'America/Halifax'
const at = (local: string) => DateTime.fromISO(local, { zone: ZONE }).toJSDate()
const local = (date: Date) => DateTime.fromJSDate(date, { zone: ZONE }).toFormat("yyyy-MM-dd'T'HH:mm")
function next(code: string, calls: number, now: string, notAfter: string): string | undefined {
  const step = afterCall(code, { calls, notAfter: at(notAfter) }, at(now), ZONE, DEFAULT_HOURS)
  return typeof step === 'object' ? local(step.again) : step
}

// Three calls at different hours of the day: common practice, no source.
describe('calling again', () => {
  it('after nobody answered in the morning waits for the afternoon, then for the evening', () => {
    expect(next('no-answer', 1, '2026-03-17T09:30', '2026-03-20T09:00')).toBe('2026-03-17T12:00')
    expect(next('busy', 2, '2026-03-17T12:00', '2026-03-20T09:00')).toBe('2026-03-17T17:00')
  })

  it('after an evening waits for the next morning’s hours', () => {
    expect(next('no-answer', 1, '2026-03-17T19:40', '2026-03-20T09:00')).toBe('2026-03-18T09:00')
  })

  it('leaves two hours between calls, also where a part of the day ends', () => {
    expect(next('no-answer', 1, '2026-03-17T11:50', '2026-03-20T09:00')).toBe('2026-03-17T13:50')
  })

  it('calls in the same part of the day rather than too late', () => {
    expect(next('no-answer', 1, '2026-03-17T09:00', '2026-03-17T11:30')).toBe('2026-03-17T11:00')
  })

  it('gives up after three calls, and when another would come too late', () => {
    expect(next('no-answer', MOST_CALLS, '2026-03-17T09:00', '2026-03-20T09:00')).toBe('give-up')
    expect(next('no-answer', 1, '2026-03-17T09:00', '2026-03-17T10:30')).toBe('give-up')
  })

  it('is not for this rule to decide when the number is no good, the line is down, or a key was pressed', () => {
    for (const code of ['bad-number', 'trunk-silent', 'sip-500', 'cut-short'])
      expect(next(code, 1, '2026-03-17T09:00', '2026-03-20T09:00')).toBeUndefined()
  })

  it('holds whatever the zone, the hour and the change of clocks', () => {
    const zones = fc.constantFrom(
      'America/Halifax',
      'America/St_Johns',
      'Australia/Lord_Howe',
      'Europe/London',
      'Asia/Kolkata',
    )
    const times = fc.integer({ min: Date.UTC(2026, 0, 1), max: Date.UTC(2026, 11, 31) })
    fc.assert(
      fc.property(
        zones,
        times,
        fc.integer({ min: 1, max: 4 }),
        fc.integer({ min: 1, max: 96 }),
        fc.constantFrom(...NOT_REACHED),
        (zone, now, calls, hours, code) => {
          const notAfter = new Date(now + hours * 3_600_000)
          const step = afterCall(code, { calls, notAfter }, new Date(now), zone, DEFAULT_HOURS)
          if (calls >= MOST_CALLS) expect(step).toBe('give-up')
          if (typeof step !== 'object') return
          const { again } = step
          expect(mayRing(again, zone, DEFAULT_HOURS)).toBe(true)
          expect(again.getTime() - now).toBeGreaterThanOrEqual(2 * 3_600_000)
          expect(again.getTime()).toBeLessThan(notAfter.getTime())
        },
      ),
    )
  })
})
