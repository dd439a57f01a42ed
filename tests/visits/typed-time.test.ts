import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { orderOf, readClock, readDate } from '../../src/adapters/http/visits/typed-time.ts'

const TODAY = '2026-11-26'
const past = { today: TODAY, order: 'day-first', side: 'past' } as const
const toCome = { ...past, side: 'to-come' } as const

describe('a date as a clerk types it', () => {
  // Referee for the dates: a calendar. What is meant by them: common practice, no source.
  it.each([
    ['1 nov', '2026-11-01'],
    ['nov 1', '2026-11-01'],
    ['1st November', '2026-11-01'],
    ['1/11', '2026-11-01'],
    ['1.11.', '2026-11-01'],
    ['01/11/2026', '2026-11-01'],
    ['1.11.26', '2026-11-01'],
    ['30 nov', '2025-11-30'],
    ['yesterday', '2026-11-25'],
    ['today', '2026-11-26'],
    ['3 weeks ago', '2026-11-05'],
    ['two weeks ago', '2026-11-12'],
    ['monday', '2026-11-23'],
    ['last monday', '2026-11-23'],
    ['2026-11-01', '2026-11-01'],
    ['Sun 1 Nov 2026', '2026-11-01'],
  ])('%s, of what has been, is %s', (typed, date) => expect(readDate(typed, past)).toBe(date))

  it.each([
    ['1 nov', '2027-11-01'],
    ['30 nov', '2026-11-30'],
    ['tomorrow', '2026-11-27'],
    ['monday', '2026-11-30'],
    ['3/12', '2026-12-03'],
  ])('%s, of what is to come, is %s', (typed, date) => expect(readDate(typed, toCome)).toBe(date))

  it('takes 3/4 in the order of the clinic’s country', () => {
    expect(readDate('3/4', { ...past, order: orderOf('GB') })).toBe('2026-04-03')
    expect(readDate('3/4', { ...past, order: orderOf('US') })).toBe('2026-03-04')
    expect(readDate('yesterday', { ...past, order: 'month-first' })).toBe('2026-11-25')
  })

  it.each(['', '5', '2026', 'soon', '0026-02-02', '2026-02-30', '1 nov or 2 nov', '1 nov 5pm', '29 feb', '1 to 3 nov'])(
    'is none: “%s”',
    (typed) => expect(readDate(typed, past)).toBeUndefined(),
  )

  it('is read back as the page shows it', () => {
    const days = fc.integer({ min: 0, max: 300 }).map((ago) => DateTime.fromISO(TODAY).minus({ days: ago }))
    fc.assert(
      fc.property(days, fc.constantFrom('d LLL yyyy', 'd LLL', 'd/L', 'd/L/yyyy', 'yyyy-MM-dd'), (day, pattern) => {
        expect(readDate(day.setLocale('en').toFormat(pattern), past)).toBe(day.toISODate())
      }),
    )
  })
})

describe('a time as a clerk types it', () => {
  // Referee: luxon reads what it wrote.
  it('is read however it is written', () => {
    const minutes = fc.integer({ min: 0, max: 1439 })
    const patterns = fc.constantFrom('HH:mm', 'H:mm', 'HHmm', 'H.mm', 'h:mm a', 'h:mma')
    fc.assert(
      fc.property(minutes, patterns, (minute, pattern) => {
        const time = DateTime.fromISO('2026-11-26').plus({ minutes: minute }).setLocale('en')
        expect(readClock(time.toFormat(pattern))).toBe(time.toFormat('HH:mm'))
      }),
    )
  })

  it.each([
    ['9', '09:00'],
    ['2pm', '14:00'],
    ['9h30', '09:30'],
  ])('%s is %s', (typed, clock) => expect(readClock(typed)).toBe(clock))
  it.each(['', '24', '25:00', '13pm', '9:75', 'noonish'])('is none: “%s”', (typed) =>
    expect(readClock(typed)).toBeUndefined(),
  )
})
