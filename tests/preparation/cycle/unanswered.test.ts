import { describe, expect, it } from 'vitest'
import { addDays, daysBetween } from '../../../src/domain/preparation/cycle/days.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'
import { questionFor } from '../../../src/domain/preparation/cycle/question.ts'
import { USUAL_TIMING } from './usual-timing.ts'
import { againAfter, isWorthACall, toldSince } from '../../../src/domain/preparation/cycle/unanswered.ts'

// Cycles of 29 days (the usual mean of published cycle lengths): the next period is due about 31 March.
const known: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29, age: 34 }
const protocol = { ...USUAL_TIMING, prepHours: 48 }
const about = (visit: string, asOf: string, history = known) => ({ history, visit, asOf, protocol })

describe('the question put once more', () => {
  it('comes two days after the first, while another time can still be agreed on and prepared for', () => {
    expect(againAfter('2026-03-31', about('2026-04-08', '2026-04-01'))).toBe('2026-04-02')
    expect(againAfter('2026-04-03', about('2026-04-08', '2026-04-03'))).toBeNull()
  })

  it.each([
    ['not yet', { ...known, notStartedBy: '2026-03-31' }],
    ['it began that day', { ...known, lmp: '2026-03-31' }],
    ['it began three days before', { ...known, lmp: '2026-03-28' }],
    ['the desk has written it down', { ...known, lmp: '2026-03-25', toldOn: '2026-04-01' }],
  ])('does not come after "%s"', (_, history) => {
    expect(againAfter('2026-03-31', about('2026-04-08', '2026-04-01', history))).toBeNull()
  })

  it('is announced by the first plan just as later plans have it', () => {
    for (let i = 0; i < 40; i++) {
      const visit = addDays('2026-03-20', i)
      const dates = questionFor(about(visit, '2026-03-10'))
      if (!dates) continue
      expect(againAfter(dates.on, about(visit, dates.on))).toBe(dates.again)
      if (dates.again) expect(daysBetween(dates.again, visit)).toBeGreaterThanOrEqual(4)
    }
  })
})

describe('a question that stays unanswered', () => {
  it('is worth a call where some likely answer would put the visit on days to avoid', () => {
    // "On 2 April" would make it day 4.
    expect(isWorthACall(about('2026-04-05', '2026-04-02'))).toBe(true)
  })

  it('is worth none where no answer would', () => {
    expect(isWorthACall(about('2026-03-17', '2026-03-12'))).toBe(false)
    expect(isWorthACall(about('2026-04-05', '2026-04-02', { status: 'no-periods' }))).toBe(false)
    expect(isWorthACall({ ...about('2026-04-05', '2026-04-02'), protocol: { ...protocol, avoidDays: null } })).toBe(
      false,
    )
  })

  it('counts any news of that day or later as an answer', () => {
    expect(toldSince(known, '2026-03-03')).toBe(false)
    expect(toldSince({ ...known, stillBleedingOn: '2026-03-05' }, '2026-03-05')).toBe(true)
  })
})
