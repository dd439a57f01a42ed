import { describe, expect, it } from 'vitest'
import { addDays, calendarDate, dayNumber, daysBetween } from '../../../src/domain/preparation/cycle/days.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { USUAL_TIMING } from './usual-timing.ts'
import { decideMove, worthLooking, type MoveRequest } from '../../../src/domain/preparation/cycle/move-rule.ts'
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
} from './simulated-patients.ts'

const history: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29 }
const everyWeekday = (booked: string): { key: string; date: string }[] =>
  Array.from({ length: 15 }, (_, i) => addDays(booked, i - 7))
    .filter((date) => date !== booked && (dayNumber(date) + 3) % 7 < 5)
    .map((date) => ({ key: date, date }))
const decide = (booked: string, openings = everyWeekday(booked), more: Partial<MoveRequest> = {}) =>
  decideMove({ history, booked, protocol: USUAL_TIMING, ...more }, openings)
const rank = (...asked: Parameters<typeof decide>) => decide(...asked).ranked
const on = (...dates: string[]) => dates.map((date) => ({ key: date, date }))

describe('the rule of moving', () => {
  it('suggests nothing when the booked date is good: moving people costs goodwill', () => {
    for (const booked of ['2026-03-10', '2026-03-16', '2026-03-20'])
      expect(decide(booked)).toMatchObject({ keep: true, why: 'good-time', ranked: [] })
  })

  it('finds better dates for a visit when the next period is due, best first', () => {
    const { keep, why, ranked } = decide('2026-04-02')
    expect({ keep, why }).toEqual({ keep: false, why: 'better-free' })
    expect(ranked[0]!.avoidProbability).toBeLessThan(0.06)
    expect(ranked.map(({ rank }) => rank)).toEqual(ranked.map((_, index) => index + 1))
    expect(ranked.map(({ score }) => score)).toEqual(ranked.map(({ score }) => score).toSorted((a, b) => b - a))
    for (const { score } of ranked) expect(score).toBeGreaterThan(0)
  })

  it('prefers the nearer of two equally good dates', () => {
    expect(rank('2026-04-02', on('2026-04-12', '2026-04-16'))[0]!.key).toBe('2026-04-12')
  })

  it('leaves out what is no better than the booked date', () => {
    expect(rank('2026-04-02', on('2026-04-01', '2026-04-03', '2026-04-13')).map(({ key }) => key)).toEqual([
      '2026-04-13',
    ])
  })

  it('avoids bleeding that goes on after the days to avoid', () => {
    const bleeding = { ...history, stillBleedingOn: '2026-03-06' }
    expect(rank('2026-03-04', on('2026-03-07', '2026-03-10'), { history: bleeding })[0]!.key).toBe('2026-03-10')
  })

  it('ranks all that may be offered to the patient who cannot keep the booked date, and none of a bad time', () => {
    expect(rank('2026-03-16', undefined, { mustMove: true })).toHaveLength(everyWeekday('2026-03-16').length)
    expect(rank('2026-03-16', on('2026-03-03', '2026-04-01'), { mustMove: true })).toEqual([])
    expect(rank('2026-06-16', on('2026-06-18'), { history: { status: 'unknown' }, mustMove: true })).toHaveLength(1)
  })

  it('has nothing to suggest without openings or without periods', () => {
    expect(decide('2026-04-02', [])).toMatchObject({ keep: true, why: 'nothing-better', worthACall: true })
    expect(decide('2026-04-02', undefined, { history: { status: 'no-periods' } })).toMatchObject({ why: 'any-day' })
  })

  it('looks no further than an opening could be worth the move', () => {
    for (let day = 0; day < 60; day++) {
      const booked = addDays('2026-03-05', day)
      const all = Array.from({ length: 121 }, (_, i) => addDays(booked, i - 60)).filter((date) => date !== booked)
      const reach = worthLooking({ history, booked, protocol: USUAL_TIMING })
      const within = (date: string) => reach !== null && date >= reach.from && date <= reach.to
      expect(rank(booked, on(...all.filter((date) => !within(date))))).toEqual([])
    }
  })
})

/**
 * Visits booked without regard to cycles, then moved to the first suggestion among openings every weekday within 7
 * days.
 */
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
      const best = rank(booked, openings, { history: historyOf(woman, told) })[0]
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
  ['regularly cycling women', REGULAR, 0.015, 0.025],
  ['women of two phases', TWO_PHASE, 0.015, 0.025],
  ['all comers', ALL_COMERS, 0.035, 0.04],
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
