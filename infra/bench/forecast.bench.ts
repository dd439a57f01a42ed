import { forecastDays } from '../../src/domain/preparation/cycle/forecast.ts'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { USUAL_TIMING } from '../../tests/preparation/cycle/usual-timing.ts'

const RANGE = { from: '2026-03-20', to: '2026-04-18' }
const LMP: CycleHistory = { status: 'cycling', lmp: '2026-03-02' }
const CASES: Record<string, CycleHistory> = {
  'LMP alone': LMP,
  'LMP, stated length, age': { ...LMP, usualCycleDays: 29, age: 34 },
  'and three past cycles': { ...LMP, usualCycleDays: 29, age: 34, pastCycleDays: [28, 31, 29] },
  'and not started yet': {
    ...LMP,
    usualCycleDays: 29,
    age: 34,
    pastCycleDays: [28, 31, 29],
    notStartedBy: '2026-03-28',
  },
  'LMP about, 3 days either side': { ...LMP, lmpGiveDays: 3, usualCycleDays: 29 },
}
const ROUNDS = 5_000
/** Forecasts of 30 days a second on one core that the product promises. */
const PROMISED = 5_000

/** Forecasts of 30 days a second by kind of history, memory for the tables, and the bare cost of naming 30 dates. */
export async function bench(): Promise<void> {
  const before = process.memoryUsage()
  const cold = milliseconds(() => forecastDays(LMP, RANGE, USUAL_TIMING))
  const after = process.memoryUsage()
  const tables = (after.arrayBuffers - before.arrayBuffers + Math.max(0, after.heapUsed - before.heapUsed)) / 2 ** 20
  console.log(`forecast: first one ${cold.toFixed(0)} ms (makes the tables), tables ${tables.toFixed(1)} MB`)
  const bare = perSecond(() =>
    Array.from({ length: 30 }, (_, i) => new Date(Date.UTC(2026, 2, 20 + i)).toISOString().slice(0, 10)),
  )
  for (const [name, history] of Object.entries(CASES)) {
    const rate = perSecond(() => forecastDays(history, RANGE, USUAL_TIMING))
    const verdict = rate >= PROMISED ? '' : `  below the ${PROMISED} promised`
    console.log(
      `forecast: ${rate.toFixed(0).padStart(7)} of 30 days a second, 1 : ${(bare / rate).toFixed(1)} bare  ${name}${verdict}`,
    )
  }
}

function perSecond(work: () => unknown): number {
  milliseconds(() => repeat(work, ROUNDS / 2))
  return (ROUNDS / milliseconds(() => repeat(work, ROUNDS))) * 1000
}

function repeat(work: () => unknown, times: number): void {
  for (let i = 0; i < times; i++) work()
}

function milliseconds(work: () => void): number {
  const start = performance.now()
  work()
  return performance.now() - start
}
