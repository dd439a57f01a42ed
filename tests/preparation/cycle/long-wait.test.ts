import { describe, expect, it } from 'vitest'
import { possibleAnswers } from '../../../src/domain/preparation/cycle/answers.ts'
import { addDays, dayNumber } from '../../../src/domain/preparation/cycle/days.ts'
import { forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { assess } from '../../../src/domain/preparation/cycle/situation.ts'
import { USUAL_TIMING } from './usual-timing.ts'

// A period that stays away for over three months is amenorrhoea rather than a long cycle, and is less and less likely
// to come on the next day. With the square of the wait: our own judgement, no source.
const LMP = '2026-01-01'
const waiting = (days: number): CycleHistory => ({
  status: 'cycling',
  lmp: LMP,
  notStartedBy: addDays(LMP, days),
})
const WAITS = [100, 101, 110, 120, 150, 200, 300, 399]

/** Five days after the latest "not yet": the sum of the chances of the days after it. */
function soon(days: number): number {
  const date = addDays(LMP, days + 5)
  return forecastDays(waiting(days), { from: date, to: date }, USUAL_TIMING)[0]!.avoidProbability
}

describe('a wait longer than any cycle', () => {
  it('makes a start less likely every day, by the square of the wait, without a step at 100 days', () => {
    const chances = WAITS.map(soon)
    chances.forEach((chance, i) => expect(chance).toBeCloseTo(chances[0]! * (100 / WAITS[i]!) ** 2, 10))
    expect(soon(99)).toBeGreaterThan(0.9 * chances[0]!)
  })

  it('keeps every chance one, on every date', () => {
    for (const days of WAITS) {
      const from = addDays(LMP, days - 130)
      const all = forecastDays(waiting(days), { from, to: addDays(LMP, days + 400) }, USUAL_TIMING)
      for (const { avoidProbability, bleedingProbability } of all)
        for (const chance of [avoidProbability, bleedingProbability]) {
          expect(chance).toBeGreaterThanOrEqual(0)
          expect(chance).toBeLessThanOrEqual(1)
        }
    }
  })

  it('the answers to a question are still all that there are', () => {
    for (const days of [60, 100, 150, 300]) {
      const today = dayNumber(LMP) + days
      const answers = possibleAnswers(assess(waiting(days))!, today + 6, today + 12, USUAL_TIMING)
      expect(answers.reduce((sum, { probability }) => sum + probability, 0)).toBeCloseTo(1, 2)
      for (const { probability, badToo } of answers) expect(badToo).toBeLessThanOrEqual(probability + 1e-9)
    }
  })
})
