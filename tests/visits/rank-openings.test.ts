import { describe, expect, it } from 'vitest'
import { addDays, calendarDate, dayNumber, daysBetween } from '../../src/domain/preparation/cycle/days.ts'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { USUAL_TIMING } from '../../src/domain/preparation/cycle/timing.ts'
import { rankOpenings } from '../../src/domain/visits/rank-openings.ts'
import {
  ALL_COMERS,
  type Case,
  chanceFrom,
  drawCases,
  historyOf,
  LMP,
  meanOf,
  onDaysOneToFive,
  REGULAR,
  TWO_PHASE,
  type World,
} from '../preparation/cycle/simulated-patients.ts'

const history: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29 }
const everyWeekday = (booked: string): { key: string; date: string }[] =>
  Array.from({ length: 15 }, (_, i) => addDays(booked, i - 7))
    .filter((date) => date !== booked && (dayNumber(date) + 3) % 7 < 5)
    .map((date) => ({ key: date, date }))
const rank = (booked: string, more: Partial<Parameters<typeof rankOpenings>[0]> = {}) =>
  rankOpenings({ history, booked, openings: everyWeekday(booked), protocol: USUAL_TIMING, ...more })

describe('ranking openings', () => {
  it('suggests nothing when the booked date is safe: moving people costs goodwill', () => {
    for (const booked of ['2026-03-10', '2026-03-16', '2026-03-20']) expect(rank(booked)).toEqual([])
  })

  it('offers safer dates for a visit when the next period is due, best first', () => {
    const ranked = rank('2026-04-02')
    expect(ranked.length).toBeGreaterThan(0)
    expect(ranked[0]!.avoidProbability).toBeLessThan(0.06)
    expect(ranked.map(({ score }) => score)).toEqual(ranked.map(({ score }) => score).toSorted((a, b) => b - a))
    for (const { score } of ranked) expect(score).toBeGreaterThan(0)
  })

  it('prefers the nearer of two equally safe dates', () => {
    const openings = ['2026-04-12', '2026-04-16'].map((date) => ({ key: date, date }))
    expect(rank('2026-04-02', { openings })[0]!.key).toBe('2026-04-12')
  })

  it('leaves out what is no better than the booked date, and what leaves no time to prepare', () => {
    const openings = ['2026-04-01', '2026-04-03', '2026-04-13'].map((date) => ({ key: date, date }))
    expect(rank('2026-04-02', { openings }).map(({ key }) => key)).toEqual(['2026-04-13'])
    expect(rank('2026-04-02', { openings, notBefore: '2026-04-14' })).toEqual([])
  })

  it('avoids bleeding that goes on after the days to avoid', () => {
    const openings = ['2026-03-07', '2026-03-10'].map((date) => ({ key: date, date }))
    const bleeding = { ...history, stillBleedingOn: '2026-03-06' }
    expect(rank('2026-03-04', { openings, history: bleeding })[0]!.key).toBe('2026-03-10')
  })

  it('ranks everything for the patient who cannot keep the booked date', () => {
    expect(rank('2026-03-16', { mustMove: true })).toHaveLength(everyWeekday('2026-03-16').length)
  })

  it('has nothing to suggest without openings or without periods', () => {
    expect(rank('2026-04-02', { openings: [] })).toEqual([])
    expect(rank('2026-04-02', { history: { status: 'no-periods' } })).toEqual([])
  })
})

/** Visits booked without regard to cycles, then moved to the first suggestion among openings every weekday within 7 days. */
function simulate(
  women: Case[],
  told: Parameters<typeof historyOf>[1],
  farthest: number,
): { before: number; after: number; shift: number } {
  const chance = chanceFrom(5)
  const outcomes = women.flatMap((woman) =>
    [1, 2, 3].map(() => {
      const booked = calendarDate(LMP + 6 + Math.floor(chance() * (farthest - 5)))
      const openings = everyWeekday(booked).filter(({ date }) => dayNumber(date) > LMP)
      const best = rankOpenings({ history: historyOf(woman, told), booked, openings, protocol: USUAL_TIMING })[0]
      const date = best?.key ?? booked
      const [bad, stillBad] = [booked, date].map((when) => onDaysOneToFive(woman, dayNumber(when)))
      return { bad, stillBad, shift: Math.abs(daysBetween(booked, date)) }
    }),
  )
  return {
    before: meanOf(outcomes.map(({ bad }) => Number(bad))),
    after: meanOf(outcomes.map(({ stillBad }) => Number(stillBad))),
    shift: meanOf(outcomes.map(({ shift }) => shift)),
  }
}

describe.each<[string, World, number, number]>([
  ['regularly cycling women', REGULAR, 0.015, 0.02],
  ['women of two phases', TWO_PHASE, 0.015, 0.02],
  ['all comers', ALL_COMERS, 0.03, 0.04],
])('moving the visits of simulated %s within a week', (_name, world, nearLimit, farLimit) => {
  const women = drawCases(world, 1000, 6, 13)

  it('leaves about one in a hundred on days 1-5 with three past cycles, at three days of shift or less', () => {
    const { before, after, shift } = simulate(women, { stated: true, past: 3 }, 45)
    expect(before).toBeGreaterThan(0.1)
    expect(after).toBeLessThan(nearLimit)
    expect(shift).toBeLessThan(3)
  })

  it('does well up to 60 days ahead knowing only the stated length', () => {
    const { before, after, shift } = simulate(women, { stated: true }, 60)
    expect(after).toBeLessThan(farLimit)
    expect(after).toBeLessThan(before / 3)
    expect(shift).toBeLessThan(3.6)
  })
})
