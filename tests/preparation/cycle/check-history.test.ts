import { describe, expect, it } from 'vitest'
import { checkHistory } from '../../../src/domain/preparation/cycle/check-history.ts'
import { forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { USUAL_TIMING } from './usual-timing.ts'

const TODAY = '2026-03-20'
const base: CycleHistory = { status: 'cycling', lmp: '2026-03-02' }
const fieldsAtFault = (history: CycleHistory, asOf = TODAY): string[] =>
  checkHistory(history, asOf).map(({ field }) => field)

describe('a history that can be used', () => {
  it.each<[string, CycleHistory]>([
    ['an LMP alone', base],
    ['unknown', { status: 'unknown' }],
    ['no periods', { status: 'no-periods' }],
    ['irregular cycles', { ...base, regularity: 'irregular', pastCycleDays: [24, 41, 30] }],
    ['contraception every 91 days', { ...base, scheduledBleeds: true, usualCycleDays: 91 }],
    ['a start known before the LMP', { ...base, pastStarts: ['2026-02-01'] }],
    ['an answer of today', { ...base, notStartedBy: TODAY }],
    ['a start on the day on which "not yet" was the answer', { ...base, notStartedBy: TODAY, startedOn: TODAY }],
    ['a bleed that went on and then ended', { ...base, stillBleedingOn: '2026-03-05', endedOn: '2026-03-07' }],
  ])('has no faults: %s', (_name, history) => {
    expect(checkHistory(history, TODAY)).toEqual([])
  })
})

describe('a history that contradicts itself', () => {
  it.each<[string, CycleHistory, string]>([
    // HL7's own example has an LMP later than its observation; it must be refused.
    ['an LMP in the future', { ...base, lmp: '2026-12-30' }, 'lmp'],
    // The electronic case report example has an LMP 157 days old: stale.
    ['an LMP 157 days old', { ...base, lmp: '2025-10-14' }, 'lmp'],
    ['cycling without any date', { status: 'cycling' }, 'lmp'],
    ['two starts 6 days apart', { ...base, startedOn: '2026-03-08' }, 'startedOn'],
    ['a start before the LMP', { ...base, startedOn: '2026-02-20' }, 'startedOn'],
    [
      'a start before the day by which there was none',
      { ...base, startedOn: '2026-03-18', notStartedBy: TODAY },
      'startedOn',
    ],
    ['"not yet" from before the LMP', { ...base, notStartedBy: '2026-02-27' }, 'notStartedBy'],
    ['a bleed that ended before it began', { ...base, endedOn: '2026-03-01' }, 'endedOn'],
    ['a bleed of 15 days', { ...base, stillBleedingOn: '2026-03-16' }, 'stillBleedingOn'],
    ['a bleed that ended and goes on', { ...base, endedOn: '2026-03-05', stillBleedingOn: '2026-03-07' }, 'endedOn'],
    ['past starts 6 days apart', { ...base, pastStarts: ['2026-02-01', '2026-02-07'] }, 'pastStarts'],
    ['an earlier period after the last', { ...base, pastStarts: ['2026-03-10'] }, 'pastStarts'],
    ['a past cycle of 7 days', { ...base, pastCycleDays: [28, 7] }, 'pastCycleDays.1'],
    ['a usual length of 7 days', { ...base, usualCycleDays: 7 }, 'usualCycleDays'],
    ['an LMP about a month either side', { ...base, lmpGiveDays: 30 }, 'lmpGiveDays'],
    ['an age of 70', { ...base, age: 70 }, 'age'],
  ])('is reported: %s', (_name, history, field) => {
    const faults = checkHistory(history, TODAY)
    expect(faults.map((fault) => fault.field)).toContain(field)
    for (const { message } of faults) expect(message).toMatch(/^[A-Z].*\.$/)
  })

  it('is not silently used: the forecast is the one without what is reported', () => {
    const range = { from: '2026-03-20', to: '2026-04-20' }
    const forecast = (history: CycleHistory) => forecastDays(history, range, USUAL_TIMING, TODAY)
    const plain = forecast(base)
    for (const more of [
      { startedOn: '2026-03-08' },
      { notStartedBy: '2026-02-27' },
      { pastCycleDays: [7] },
      { usualCycleDays: 7 },
      { stillBleedingOn: '2026-03-16' },
    ])
      expect(forecast({ ...base, ...more })).toEqual(plain)
  })

  it('reports each fault once', () => {
    expect(fieldsAtFault({ ...base, startedOn: '2026-03-08', usualCycleDays: 7 })).toEqual([
      'startedOn',
      'usualCycleDays',
    ])
  })
})

// At 45 days: our own limit; FIGO 2018 System 1 calls over 38 days infrequent. Ages: cycles vary most under 20 and over
// 50 (Li 2023, npj Digit Med 6:100); 16 and 52 are our own.
describe('a history that leaves a doubt', () => {
  const lmp = '2026-01-10'
  const range = { from: '2026-03-20', to: '2026-04-20' }

  it.each<[string, CycleHistory, string, boolean]>([
    ['45 days without news', { ...base, lmp }, '2026-02-24', true],
    ['44 days without news', { ...base, lmp }, '2026-02-23', false],
    ['"not yet" after 45 days', { ...base, lmp, notStartedBy: '2026-02-24' }, '2026-02-24', true],
    ['a new start since', { ...base, lmp, startedOn: '2026-02-20' }, '2026-02-24', false],
    ['bleeds every 91 days', { ...base, lmp, scheduledBleeds: true, usualCycleDays: 91 }, '2026-02-24', false],
  ])('asks whether the patient may be pregnant, through a clinician: %s', (_name, history, asOf, expected) => {
    const doubts = checkHistory(history, asOf).filter(({ message }) => message.includes('pregnant'))
    expect(doubts.map(({ field, doubt }) => [field, doubt])).toEqual(expected ? [['lmp', true]] : [])
    for (const { message } of doubts) expect(message).toMatch(/clinician.*never by text/)
  })

  it.each([
    [8, true],
    [15, true],
    [16, false],
    [52, false],
    [53, true],
    [61, true],
  ])('says at %i whether the forecast is to be relied on, and uses the age all the same', (age, expected) => {
    const faults = checkHistory({ ...base, age }, TODAY)
    expect(faults.map(({ field, doubt }) => [field, doubt])).toEqual(expected ? [['age', true]] : [])
    expect(forecastDays({ ...base, age }, range, USUAL_TIMING)).not.toEqual(forecastDays(base, range, USUAL_TIMING))
    expect(checkHistory({ status: 'no-periods', age }, TODAY)).toEqual([])
  })

  it('asks after the cervix where the uterus was removed', () => {
    const [doubt] = checkHistory({ status: 'no-periods', because: 'uterus-removed' }, TODAY)
    expect(doubt).toMatchObject({ field: 'because', doubt: true, message: expect.stringContaining('cervix') })
  })
})
