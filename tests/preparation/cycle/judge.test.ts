import { describe, expect, it } from 'vitest'
import { cycleCheckDate } from '../../../src/domain/preparation/cycle/cycle-check.ts'
import { addDays, daysBetween } from '../../../src/domain/preparation/cycle/days.ts'
import { durationOf, frequencyOf, regularityOf } from '../../../src/domain/preparation/cycle/figo.ts'
import { forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import { goodDates } from '../../../src/domain/preparation/cycle/good-dates.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { judgeVisit } from '../../../src/domain/preparation/cycle/judge.ts'
import { USUAL_TIMING } from '../../../src/domain/preparation/cycle/timing.ts'
import { cycleWindows } from '../../../src/domain/preparation/cycle/windows.ts'

const known: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29 }
const judge = (date: string, history = known) => judgeVisit(history, date, USUAL_TIMING, '2026-03-10')

describe('judging a visit', () => {
  it('keeps one two weeks after the last period and says so', () => {
    expect(judge('2026-03-16')).toMatchObject({
      keep: true,
      unsure: false,
      reason: 'Keep: the visit is on about day 15 of the cycle, in the ideal window.',
    })
  })

  it('keeps one on day 9: any day outside 1-5 will do', () => {
    expect(judge('2026-03-10')).toMatchObject({
      keep: true,
      unsure: false,
      reason: 'Keep: the visit is on about day 9 of the cycle, away from days 1-5.',
    })
  })

  it('moves one on the days when the next period is due, naming dates and the chance', () => {
    const { keep, reason } = judge('2026-04-01')
    expect(keep).toBe(false)
    expect(reason).toMatch(
      /^Move: the next period is expected between \d+ March and \d+ April, so .* days 1-5 .*\(about \d chances in 10\)\.$/,
    )
  })

  it('moves one inside the period under way', () => {
    expect(judge('2026-03-04').reason).toMatch(/^Move: the period began about 2 March, so .*\(almost certain\)\.$/)
    expect(judge('2026-03-09', { ...known, stillBleedingOn: '2026-03-09' }).reason).toBe(
      'Move: the patient will probably still be bleeding on that day.',
    )
  })

  it('is unsure where the forecast cannot tell, keeps the visit meanwhile and says when to ask', () => {
    const { keep, unsure, reason } = judge('2026-04-08')
    expect({ keep, unsure }).toEqual({ keep: true, unsure: true })
    expect(reason).toMatch(/; ask the patient on \d+ (March|April)\.$/)
    expect(judge('2026-04-08', { status: 'unknown' }).reason).toContain('the last period is not known')
  })

  it('tells the desk when the own cycles are the reason (FIGO 2018: over 7 days apart at 26-41)', () => {
    expect(
      judge('2026-04-08', { status: 'cycling', lmp: '2026-03-02', age: 30, pastCycleDays: [25, 36, 28, 44] }).reason,
    ).toContain('the cycles have taken 25 to 44 days')
  })

  it('never questions a visit when no day need be avoided', () => {
    expect(judge('2026-04-01', { status: 'no-periods' })).toMatchObject({ keep: true, unsure: false })
    expect(judgeVisit(known, '2026-03-03', { ...USUAL_TIMING, avoidDays: null })).toMatchObject({
      keep: true,
      reason: 'Keep: any day will do for this specimen.',
    })
  })

  it('agrees with the forecast of the same date', () => {
    const [day] = forecastDays(known, { from: '2026-04-01', to: '2026-04-01' }, USUAL_TIMING)
    expect(judge('2026-04-01').forecast).toEqual(day)
  })
})

describe('the cycle check', () => {
  const ask = (visit: string, history = known, asOf = '2026-03-10') =>
    cycleCheckDate({ history, visit, asOf, protocol: { ...USUAL_TIMING, prepHours: 48 } })

  it('comes after the next period may have begun, and four days before the visit at the latest', () => {
    const date = ask('2026-04-08')!
    expect(date >= '2026-03-31').toBe(true)
    expect(daysBetween(date, '2026-04-08')).toBeGreaterThanOrEqual(4)
  })

  it('is not asked when the answer would change nothing', () => {
    expect(ask('2026-03-17')).toBeNull()
    // Four days before this visit the patient will all but surely say "not yet", whatever is to come.
    expect(ask('2026-03-27')).toBeNull()
    expect(ask('2026-04-08', { status: 'no-periods' })).toBeNull()
    expect(
      cycleCheckDate({ history: known, visit: '2026-04-08', asOf: '2026-03-10', protocol: { ...USUAL_TIMING, avoidDays: null } }),
    ).toBeNull()
  })

  it('is not asked when it comes too late to move and prepare', () => {
    expect(ask('2026-04-08', known, '2026-04-05')).toBeNull()
  })

  it('is asked of everybody whose last period is unknown, and of irregular women more readily than of regular ones', () => {
    expect(ask('2026-04-20', { status: 'unknown' })).not.toBeNull()
    const askedOn = (history: CycleHistory): number =>
      Array.from({ length: 40 }, (_, i) => ask(addDays('2026-03-20', i), history)).filter((date) => date !== null).length
    const regular = { ...known, pastCycleDays: [29, 28, 29, 29, 28, 29] }
    const irregular = { ...known, pastCycleDays: [25, 36, 28, 44, 31, 24] }
    expect(askedOn(irregular)).toBeGreaterThan(askedOn(regular))
  })

  it('asks earlier when preparation takes longer', () => {
    const week = cycleCheckDate({
      history: known,
      visit: '2026-04-09',
      asOf: '2026-03-10',
      protocol: { ...USUAL_TIMING, prepHours: 168 },
    })
    expect(week === null || daysBetween(week, '2026-04-09') >= 9).toBe(true)
    expect(daysBetween(ask('2026-04-09')!, '2026-04-09')).toBeLessThan(9)
  })
})

describe('the collection windows', () => {
  const windows = (history: CycleHistory, asOf = '2026-03-10') => cycleWindows(history, USUAL_TIMING, asOf)
  const regular = { ...known, usualCycleDays: 28, pastCycleDays: [28, 28, 29, 28, 27, 28] }

  // "About two weeks after the first day of the last period" (common practice): LMP + 14, cycle day 15.
  it('are those of this cycle and the next two, each about its date two weeks after the first day', () => {
    const found = windows(regular)
    expect(found.map(({ ideal }) => ideal)).toEqual(['2026-03-16', '2026-04-13', '2026-05-11'])
    for (const { from, to, ideal } of found) expect(from <= ideal && ideal <= to).toBe(true)
    expect(found[0]).toMatchObject({ from: '2026-03-12', to: '2026-03-22', unsure: false })
  })

  it.each([[regular], [known]])('hold no date more likely to be one to avoid than they say', (history) => {
    for (const { from, to, avoidProbability } of windows(history)) {
      const days = forecastDays(history, { from, to }, USUAL_TIMING, '2026-03-10')
      expect(Math.max(...days.map((day) => day.avoidProbability))).toBe(avoidProbability)
    }
  })

  it('narrow as nobody can tell any more, and are called unsure at last', () => {
    const days = windows({ ...known, pastCycleDays: [24, 36, 27, 41] })
    expect(days.at(-1)).toMatchObject({ unsure: true })
    expect(days.at(-1)!.from).toBe(days.at(-1)!.to)
  })

  it('follow the cycle: once a new one has begun, it is this one', () => {
    expect(windows({ ...regular, startedOn: '2026-03-30' }, '2026-04-02')[0]).toMatchObject({ ideal: '2026-04-13' })
  })

  it('are none where days play no part or nothing is known', () => {
    for (const status of ['no-periods', 'unknown'] as const) expect(windows({ status })).toEqual([])
  })
})

describe('good dates', () => {
  it('are the runs rated best or fine, in order and apart', () => {
    const range = { from: '2026-03-02', to: '2026-05-01' }
    const runs = goodDates(known, range, USUAL_TIMING)
    const good = forecastDays(known, range, USUAL_TIMING).filter(({ rating }) => rating === 'best' || rating === 'fine')
    expect(runs.reduce((sum, { from, to }) => sum + daysBetween(from, to) + 1, 0)).toBe(good.length)
    expect(runs[0]).toMatchObject({ from: '2026-03-07' })
    expect(runs.slice(1).every(({ from }, i) => daysBetween(runs[i]!.to, from) > 1)).toBe(true)
  })
})

describe('FIGO System 1 (Munro, Critchley, Fraser 2018, IJGO 143:393)', () => {
  it.each([
    [23, 'frequent'],
    [24, 'normal'],
    [38, 'normal'],
    [39, 'infrequent'],
  ])('a cycle of %s days is %s', (days, frequency) => {
    expect(frequencyOf(days)).toBe(frequency)
  })
  it.each([
    [8, 'normal'],
    [9, 'prolonged'],
  ])('a bleed of %s days is %s', (days, duration) => {
    expect(durationOf(days)).toBe(duration)
  })
  // Limits by age: value from memory.
  it('a range of 8 days is irregular at 30 and regular at 22; at 43, 9 is regular and 10 irregular', () => {
    expect([
      regularityOf([26, 34], 30),
      regularityOf([26, 34], 22),
      regularityOf([26, 35], 43),
      regularityOf([26, 36], 43),
    ]).toEqual(['irregular', 'regular', 'regular', 'irregular'])
  })
})
