import { describe, expect, it } from 'vitest'
import { questionFor } from '../../../src/domain/preparation/cycle/question.ts'
import { addDays, daysBetween } from '../../../src/domain/preparation/cycle/days.ts'
import { durationOf, frequencyOf, regularityOf } from '../../../src/domain/preparation/cycle/figo.ts'
import { forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import { goodDates } from '../../../src/domain/preparation/cycle/good-dates.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { judgeDate, judgementOf } from '../../../src/domain/preparation/cycle/judge.ts'
import { decideMove } from '../../../src/domain/preparation/cycle/move-rule.ts'
import { USUAL_TIMING } from './usual-timing.ts'
import { cycleWindows } from '../../../src/domain/preparation/cycle/windows.ts'

const known: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29 }
const judge = (date: string, history = known) => judgeDate(history, date, USUAL_TIMING, '2026-03-10')
const among = (date: string, openings: string[], history = known, asOf = '2026-03-10') =>
  judgementOf(
    decideMove(
      { history, booked: date, protocol: USUAL_TIMING, asOf },
      openings.map((opening) => ({ key: opening, date: opening })),
    ),
    history,
    USUAL_TIMING,
    asOf,
  )

describe('judging a visit', () => {
  it('keeps one two weeks after the last period and says so', () => {
    expect(among('2026-03-16', ['2026-03-17'])).toMatchObject({
      keep: true,
      why: 'good-time',
      worthACall: false,
      unsure: false,
      reason: 'Keep: the visit is on about day 15 of the cycle, in the ideal window.',
    })
  })

  it('keeps one on day 9: any day outside 1-5 will do', () => {
    expect(among('2026-03-10', ['2026-03-16'])).toMatchObject({
      keep: true,
      why: 'good-time',
      reason: 'Keep: the visit is on about day 9 of the cycle, away from days 1-5.',
    })
  })

  it('moves one on the days when the next period is due, naming dates, the chance, and what is won', () => {
    const { keep, why, worthACall, reason } = among('2026-04-01', ['2026-04-10', '2026-04-13'])
    expect({ keep, why, worthACall }).toEqual({ keep: false, why: 'better-free', worthACall: true })
    expect(reason).toMatch(
      /^Move: the next period is expected between \d+ March and \d+ April, so .* days 1-5 .*\(about \d chances in 10\)\. A better time is free: it lowers the chance of a day to avoid from \d+ to \d+ in 100\.$/,
    )
  })

  it('keeps a badly timed one where nothing better is free, says so, and that it is worth a call', () => {
    for (const openings of [[], ['2026-04-02']]) {
      const { keep, why, worthACall, reason } = among('2026-04-01', openings)
      expect({ keep, why, worthACall }).toEqual({ keep: true, why: 'nothing-better', worthACall: true })
      expect(reason).toMatch(/^Keep for now: .* but no free opening is better\. Ask the patient /)
    }
  })

  it('moves one whose date is only somewhat doubtful, when a better one is near', () => {
    // A chance of one in four, which is nobody's certainty: what the rule is for.
    const { keep, forecast } = among('2026-03-28', ['2026-03-23', '2026-03-24'])
    expect(forecast.avoidProbability).toBeLessThan(0.35)
    expect(keep).toBe(false)
  })

  it('says of a date by itself what is wrong with it, and nothing of openings', () => {
    expect(judge('2026-03-04').reason).toMatch(
      /^Not a good time: the period began about 2 March, so .*\(almost certain\)\.$/,
    )
    expect(judge('2026-03-09', { ...known, stillBleedingOn: '2026-03-09' }).reason).toBe(
      'Not a good time: the patient will probably still be bleeding on that day.',
    )
    const { unsure, reason } = judge('2026-04-08')
    expect(unsure).toBe(true)
    expect(reason).toMatch(/^Unsure: .*\. Ask the patient on \d+ (March|April), or agree on another date\.$/)
    expect(judge('2026-04-20', { status: 'unknown' }).reason).toContain('the last period is not known')
  })

  it('tells the desk when the own cycles are the reason (FIGO 2018: over 7 days apart at 26-41)', () => {
    expect(
      judge('2026-04-08', { status: 'cycling', lmp: '2026-03-02', age: 30, pastCycleDays: [25, 36, 28, 44] }).reason,
    ).toContain('the cycles have taken 25 to 44 days')
  })

  it('never questions a visit when no day need be avoided', () => {
    expect(among('2026-04-01', ['2026-04-10'], { status: 'no-periods' })).toMatchObject({ keep: true, why: 'any-day' })
    expect(judgeDate(known, '2026-03-03', { ...USUAL_TIMING, avoidDays: null })).toMatchObject({
      keep: true,
      why: 'any-day',
      reason: 'Keep: any day will do for this specimen.',
    })
  })

  it('agrees with the forecast of the same date', () => {
    const [day] = forecastDays(known, { from: '2026-04-01', to: '2026-04-01' }, USUAL_TIMING)
    expect(judge('2026-04-01').forecast).toEqual(day)
  })
})

describe('the question whether the period has begun', () => {
  const ask = (visit: string, history = known, asOf = '2026-03-10') =>
    questionFor({ history, visit, asOf, protocol: { ...USUAL_TIMING, prepHours: 48 } })

  it('comes after the next period may have begun, four to eight days before the visit', () => {
    const { on, again } = ask('2026-04-08')!
    expect(on >= '2026-03-31').toBe(true)
    expect(daysBetween(on, '2026-04-08')).toBeGreaterThanOrEqual(4)
    expect(daysBetween(on, '2026-04-08')).toBeLessThanOrEqual(8)
    expect(again === null || daysBetween(on, again) === 2).toBe(true)
  })

  it('is asked of nearly everybody whose answer may change the decision', () => {
    // Of visits two to six weeks after a last period, some two thirds are asked about, not the doubtful ones alone.
    const days = Array.from({ length: 28 }, (_, i) => addDays('2026-03-17', i))
    expect(days.filter((visit) => ask(visit) !== null).length).toBeGreaterThan(14)
  })

  it('is not asked when the answer would change nothing', () => {
    expect(ask('2026-03-17')).toBeNull()
    expect(ask('2026-04-08', { status: 'no-periods' })).toBeNull()
    const protocol = { ...USUAL_TIMING, avoidDays: null }
    expect(questionFor({ history: known, visit: '2026-04-08', asOf: '2026-03-10', protocol })).toBeNull()
  })

  it('is not asked when it comes too late to move and prepare, and repeated only while it does not', () => {
    expect(ask('2026-04-08', known, '2026-04-05')).toBeNull()
    for (let i = 0; i < 30; i++) {
      const visit = addDays('2026-03-20', i)
      const again = ask(visit)?.again
      if (again) expect(daysBetween(again, visit)).toBeGreaterThanOrEqual(4)
    }
  })

  it('asks earlier when preparation takes longer', () => {
    const protocol = { ...USUAL_TIMING, prepHours: 168 }
    const week = questionFor({ history: known, visit: '2026-04-09', asOf: '2026-03-10', protocol })
    expect(week === null || daysBetween(week.on, '2026-04-09') >= 9).toBe(true)
    expect(daysBetween(ask('2026-04-09')!.on, '2026-04-09')).toBeLessThan(9)
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
    expect(found[0]).toMatchObject({ from: '2026-03-12', to: '2026-03-20', unsure: false })
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
