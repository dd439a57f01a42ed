import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { addDays, calendarDate, dayNumber } from '../../../src/domain/preparation/cycle/days.ts'
import { forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import { naturalGrid } from '../../../src/domain/preparation/cycle/grid.ts'
import type { CalendarDate, CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { nextStart } from '../../../src/domain/preparation/cycle/next-start.ts'
import { USUAL_TIMING } from './usual-timing.ts'

const LMP = '2026-03-02'
const known: CycleHistory = { status: 'cycling', lmp: LMP, usualCycleDays: 29 }
const on = (history: CycleHistory, date: CalendarDate, protocol = USUAL_TIMING) =>
  forecastDays(history, { from: date, to: date }, protocol)[0]!
const avoid = (history: CycleHistory, date: CalendarDate): number => on(history, date).avoidProbability

describe('counting cycle days', () => {
  it('calls the first day of the last period cycle day 1, so two weeks after it is day 15', () => {
    // Two weeks after, by plain calendar arithmetic; 2028 is a leap year (common practice, no source).
    for (const [lmp, ideal] of [
      ['2026-03-01', '2026-03-15'],
      ['2028-02-20', '2028-03-05'],
      ['2027-02-20', '2027-03-06'],
    ] as const) {
      expect(on({ status: 'cycling', lmp }, lmp).cycleDay).toBe(1)
      expect(on({ status: 'cycling', lmp }, ideal)).toMatchObject({ cycleDay: 15, rating: 'best' })
    }
  })

  // Days 11-19: a university clinic's handout, as templates/protocols/liquid-based-cytology.yaml names it.
  it('gives the ideal window of the protocol, days 11 to 19', () => {
    const days = forecastDays(
      { status: 'cycling', lmp: '2026-03-01' },
      { from: '2026-03-01', to: '2026-03-26' },
      USUAL_TIMING,
    )
    const best = days.filter(({ rating }) => rating === 'best').map(({ date }) => date)
    expect([best[0], best.at(-1)]).toEqual(['2026-03-11', '2026-03-19'])
  })

  it('starts to count anew when the next period is due', () => {
    const days = forecastDays(known, { from: LMP, to: '2026-05-10' }, USUAL_TIMING).map(({ cycleDay }) => cycleDay!)
    expect(days.filter((day) => day === 1)).toHaveLength(3)
    expect(days.every((day, i) => i === 0 || day === 1 || day === days[i - 1]! + 1)).toBe(true)
  })
})

describe('the days to avoid', () => {
  it('are certain in the first five days of a known period and gone on the sixth', () => {
    for (let day = 0; day < 5; day++) expect(avoid(known, addDays(LMP, day))).toBe(1)
    expect(avoid(known, addDays(LMP, 5))).toBe(0)
  })

  it('peak in the days after the next period is due and flatten cycle by cycle', () => {
    const peak = (from: number, to: number): number =>
      Math.max(
        ...forecastDays(known, { from: addDays(LMP, from), to: addDays(LMP, to) }, USUAL_TIMING).map(
          ({ avoidProbability }) => avoidProbability,
        ),
      )
    const peaks = [peak(20, 42), peak(45, 72), peak(75, 101)]
    expect(peaks).toEqual(peaks.toSorted((a, b) => b - a))
    expect(peaks[0]).toBeGreaterThan(0.5)
    // Far ahead nothing is known but how often a cycle has five such days.
    expect(avoid(known, addDays(LMP, 380))).toBeCloseTo(5 / 29, 1)
    expect(avoid(known, addDays(LMP, 900))).toBeCloseTo(5 / 29, 1)
  })

  it('are the sum of their single days, and five in a mean cycle', () => {
    const single = { ...USUAL_TIMING, avoidDays: { first: 1, last: 1 } }
    const starts = forecastDays(known, { from: '2026-03-20', to: '2026-05-20' }, single).map(
      ({ avoidProbability }) => avoidProbability,
    )
    const five = forecastDays(known, { from: '2026-03-24', to: '2026-05-20' }, USUAL_TIMING)
    five.forEach(({ avoidProbability }, i) =>
      expect(avoidProbability).toBeCloseTo(
        starts.slice(i, i + 5).reduce((a, b) => a + b),
        9,
      ),
    )
    const { cells, weights } = naturalGrid()
    const cycles = 1 / avoid({ status: 'unknown' }, LMP)
    expect(cycles * 5).toBeCloseTo(
      cells.reduce((sum, cell, i) => sum + weights[i]! * cell.mean, 0),
      2,
    )
  })

  it('follow the protocol, and none are avoided when it has none', () => {
    expect(on(known, addDays(LMP, 6), { ...USUAL_TIMING, avoidDays: { first: 1, last: 7 } }).avoidProbability).toBe(1)
    expect(on(known, LMP, { ...USUAL_TIMING, avoidDays: null })).toMatchObject({ avoidProbability: 0, rating: 'fine' })
  })
})

describe('what is known of the patient', () => {
  it('a period not started by a date cannot have started before it, and only lengths beyond it count', () => {
    const waiting = { ...known, notStartedBy: '2026-04-02' }
    for (const day of [26, 29, 31]) expect(avoid(waiting, addDays(LMP, day))).toBe(0)
    // Exactly: the joint chance of waiting and then starting, over that of waiting, by brute force over the grid.
    const { cells, weights } = naturalGrid()
    const [lasted, start] = [31, 33]
    let [joint, waited] = [0, 0]
    cells.forEach((cell, i) => {
      waited += weights[i]! * cell.longer[lasted]!
      for (let days = lasted + 1; days <= start; days++) joint += weights[i]! * cell.length[days]!
    })
    expect(avoid({ status: 'cycling', lmp: LMP, notStartedBy: '2026-04-02' }, addDays(LMP, start))).toBeCloseTo(
      joint / waited,
      3,
    )
  })

  it('a skipped entry, 28, 29, 57, 28, is two cycles and not a mean of 35.5', () => {
    const next = (pastCycleDays: number[]): string =>
      nextStart({ status: 'cycling', lmp: LMP, pastCycleDays }, 0.8)!.likely
    expect(next([28, 29, 57, 28])).toBe(next([28, 29, 28]))
    expect(next([28, 29, 57, 28])).toBe(addDays(LMP, 28))
  })

  it('a stated 28 says less than a stated 31, which most people do not say by habit', () => {
    const width = (usualCycleDays: number): number => {
      const { from, to } = nextStart({ status: 'cycling', lmp: LMP, usualCycleDays })!
      return dayNumber(to) - dayNumber(from)
    }
    expect(width(28)).toBeGreaterThanOrEqual(width(31))
    const likely = nextStart({ status: 'cycling', lmp: LMP, usualCycleDays: 35 })!.likely
    // Shrunk towards other women, but most of the way to what the patient says.
    expect(dayNumber(likely) - dayNumber(LMP)).toBeGreaterThan(31)
    expect(dayNumber(likely) - dayNumber(LMP)).toBeLessThan(35)
  })

  it('irregular cycles and an LMP told as "about" widen the forecast; contraception with scheduled bleeds narrows it', () => {
    const width = (more: Partial<CycleHistory>): number => {
      const { from, to } = nextStart({ ...known, ...more }, 0.8)!
      return dayNumber(to) - dayNumber(from)
    }
    expect(width({ regularity: 'irregular' })).toBeGreaterThanOrEqual(width({ regularity: 'regular' }))
    expect(width({ lmpGiveDays: 4 })).toBeGreaterThan(width({}))
    expect(width({ scheduledBleeds: true })).toBeLessThan(width({}))
    expect(nextStart({ status: 'cycling', lmp: LMP, scheduledBleeds: true })!.likely).toBe(addDays(LMP, 28))
  })

  it('age moves the forecast: at 24 the next period is expected later than at 43', () => {
    const likely = (age: number): number => dayNumber(nextStart({ status: 'cycling', lmp: LMP, age })!.likely)
    expect(likely(24)).toBeGreaterThan(likely(43))
  })

  it('unknown says one date in six, no periods says nothing against any date', () => {
    expect(on({ status: 'unknown' }, LMP)).toMatchObject({ cycleDay: null, rating: 'unsure' })
    expect(avoid({ status: 'unknown' }, LMP)).toBeCloseTo(5 / 29, 2)
    expect(on({ status: 'no-periods' }, LMP)).toEqual({
      date: LMP,
      cycleDay: null,
      avoidProbability: 0,
      bleedingProbability: 0,
      rating: 'fine',
    })
  })

  it('a bleed that ended or goes on counts, also when its start is not known', () => {
    expect(on({ ...known, stillBleedingOn: addDays(LMP, 6) }, addDays(LMP, 6))).toMatchObject({
      bleedingProbability: 1,
      rating: 'avoid',
    })
    expect(on({ ...known, endedOn: addDays(LMP, 3) }, addDays(LMP, 4)).bleedingProbability).toBe(0)
    const unknown: CycleHistory = { status: 'unknown', endedOn: addDays(LMP, 4) }
    expect(avoid(unknown, addDays(LMP, 3))).toBeGreaterThan(0.7)
    expect(avoid(unknown, addDays(LMP, 12))).toBeLessThan(0.01)
  })

  it('a new start begins the count anew and the old one becomes a past cycle', () => {
    expect(on({ ...known, startedOn: '2026-03-30' }, '2026-03-31').cycleDay).toBe(2)
    expect(avoid({ ...known, startedOn: '2026-03-30' }, '2026-04-08')).toBe(0)
  })

  it('an LMP told long after it was due is doubted, not taken for a cycle of sixty days', () => {
    const told = { status: 'cycling', lmp: LMP, toldOn: addDays(LMP, 20) } as const
    // Told while it was surely the latest: hardly anything changes.
    expect(avoid(told, addDays(LMP, 29))).toBeCloseTo(avoid({ status: 'cycling', lmp: LMP }, addDays(LMP, 29)), 1)
    const late = { status: 'cycling', lmp: LMP, toldOn: addDays(LMP, 60) } as const
    expect(avoid(late, addDays(LMP, 60))).toBeGreaterThan(0.05)
  })

  it('news dated after the day of the forecast is left out', () => {
    const later = { ...known, notStartedBy: '2026-04-02' }
    const seen = forecastDays(later, { from: '2026-03-30', to: '2026-03-30' }, USUAL_TIMING, '2026-03-10')[0]!
    expect(seen).toEqual(on(known, '2026-03-30'))
  })
})

const day = fc.integer({ min: 0, max: 200 }).map((offset) => addDays(LMP, offset))
const anyHistory: fc.Arbitrary<CycleHistory> = fc
  .record(
    {
      status: fc.constantFrom('cycling' as const, 'unknown' as const),
      lmp: fc.constant(LMP),
      lmpGiveDays: fc.integer({ min: 0, max: 20 }),
      usualCycleDays: fc.double({ min: 10, max: 200, noNaN: true }),
      regularity: fc.constantFrom('regular' as const, 'irregular' as const),
      scheduledBleeds: fc.boolean(),
      pastCycleDays: fc.array(fc.integer({ min: 1, max: 300 }), { maxLength: 40 }),
      pastStarts: fc.array(
        fc.integer({ min: 1, max: 400 }).map((back) => addDays(LMP, -back)),
        { maxLength: 12 },
      ),
      age: fc.integer({ min: 9, max: 60 }),
      toldOn: day,
      startedOn: day,
      notStartedBy: day,
      endedOn: day,
      stillBleedingOn: day,
    },
    { requiredKeys: ['status'] },
  )
  .map((history) => history as CycleHistory)
const anyRange = fc
  .tuple(fc.integer({ min: -60, max: 700 }), fc.integer({ min: 0, max: 30 }))
  .map(([from, length]) => ({ from: addDays(LMP, from), to: addDays(LMP, from + length) }))

describe('whatever is said', () => {
  it('every date gets a probability and no date is lost', () => {
    fc.assert(
      fc.property(anyHistory, anyRange, (history, range) => {
        const days = forecastDays(history, range, USUAL_TIMING)
        expect(days).toHaveLength(dayNumber(range.to) - dayNumber(range.from) + 1)
        for (const { avoidProbability, bleedingProbability, cycleDay } of days) {
          expect(
            avoidProbability >= 0 && avoidProbability <= 1 && bleedingProbability >= 0 && bleedingProbability <= 1,
          ).toBe(true)
          expect(cycleDay === null || (Number.isInteger(cycleDay) && cycleDay >= 1)).toBe(true)
        }
      }),
      { numRuns: 300, seed: 1 },
    )
  })

  it('the same answers come as many days later when everything happened as many days later', () => {
    const later = (history: CycleHistory, by: number): CycleHistory =>
      JSON.parse(JSON.stringify(history), (_key, value: unknown) =>
        typeof value === 'string' && /^\d{4}-/.test(value) ? addDays(value, by) : value,
      ) as CycleHistory
    fc.assert(
      fc.property(anyHistory, anyRange, fc.integer({ min: 1, max: 3000 }), (history, range, by) => {
        const moved = forecastDays(
          later(history, by),
          { from: addDays(range.from, by), to: addDays(range.to, by) },
          USUAL_TIMING,
        )
        expect(moved.map((each) => ({ ...each, date: addDays(each.date, -by) }))).toEqual(
          forecastDays(history, range, USUAL_TIMING),
        )
      }),
      { numRuns: 100, seed: 2 },
    )
  })

  it('a date that is none is refused', () => {
    for (const date of ['2026-02-30', '2026-3-2', 'tomorrow', '']) {
      expect(() => forecastDays(known, { from: date, to: '2026-04-01' }, USUAL_TIMING)).toThrow('year-month-day')
    }
    expect(calendarDate(dayNumber('2028-02-29'))).toBe('2028-02-29')
  })
})
