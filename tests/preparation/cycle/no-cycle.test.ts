import { describe, expect, it } from 'vitest'
import { NO_PERIODS_BECAUSE, type CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { heardNotStarted, heardStart, heardStillBleeding } from '../../../src/domain/preparation/cycle/hear.ts'
import { judgeDate } from '../../../src/domain/preparation/cycle/judge.ts'
import { hasCycles, isEligibilityOpen, mayHavePeriod } from '../../../src/domain/preparation/cycle/no-cycle.ts'
import { USUAL_TIMING } from './usual-timing.ts'

const FEEDING: CycleHistory = { status: 'no-periods', because: 'breast-feeding' }
const ALL: CycleHistory[] = [
  { status: 'pregnant' },
  { status: 'no-periods' },
  ...NO_PERIODS_BECAUSE.map((because) => ({ status: 'no-periods', because }) as const),
]

describe('a patient without cycles', () => {
  it.each(ALL.map((history) => [history]))('is no matter of days: %j', (history) => {
    const { keep, unsure, forecast, reason } = judgeDate(history, '2026-04-01', USUAL_TIMING, '2026-03-10')
    expect({ keep, unsure, cycles: hasCycles(history) }).toEqual({ keep: true, unsure: false, cycles: false })
    expect(forecast).toMatchObject({ avoidProbability: 0, cycleDay: null })
    expect(reason).toMatch(/^[A-Z].*\.$/)
  })

  // In pregnancy a specimen is not taken: Royal Marsden Manual, citing WHO. Without a cervix: common practice, no source.
  it('is for a clinician to decide about in pregnancy and without a cervix, whatever the protocol says of days', () => {
    const open = ALL.filter(isEligibilityOpen)
    expect(open).toEqual([{ status: 'pregnant' }, { status: 'no-periods', because: 'cervix-removed' }])
    for (const timing of [USUAL_TIMING, { ...USUAL_TIMING, avoidDays: null }])
      for (const history of open) expect(judgeDate(history, '2026-04-01', timing).reason).toMatch(/^Ask a clinician/)
  })
})

// While breast-feeding, periods return on a day that nobody can foretell: common practice, no source.
describe('while breast-feeding', () => {
  it('alone of those without periods one may come, and the desk is told to ask for the news', () => {
    expect(ALL.filter(mayHavePeriod)).toEqual([FEEDING])
    expect(judgeDate(FEEDING, '2026-04-01', USUAL_TIMING).reason).toContain('tell you if one does')
  })

  it('the first period told is an LMP like any other, and no contradiction', () => {
    expect(heardStart(FEEDING, '2026-03-30', '2026-03-31')).toEqual({
      history: { status: 'cycling', lmp: '2026-03-30' },
    })
  })

  it('bleeding means that cycles are back, though the first day is not known', () => {
    const { history } = heardStillBleeding(FEEDING, '2026-03-30')
    expect(history).toEqual({ status: 'unknown', stillBleedingOn: '2026-03-30' })
    expect(judgeDate(history, '2026-03-31', USUAL_TIMING).why).toBe('nothing-better')
  })

  it('"not yet" leaves it as it is', () => {
    expect(heardNotStarted(FEEDING, '2026-03-30').history).toMatchObject(FEEDING)
  })
})
