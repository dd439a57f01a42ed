import { describe, expect, it } from 'vitest'
import { checkHistory } from '../../../src/domain/preparation/cycle/check-history.ts'
import { sortEvidence } from '../../../src/domain/preparation/cycle/evidence.ts'
import {
  heardEnded,
  heardNotStarted,
  heardStart,
  heardStillBleeding,
} from '../../../src/domain/preparation/cycle/hear.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'

const base: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29, age: 34 }

describe('"my period started"', () => {
  it('makes the day the new LMP and the old LMP a past start, and forgets the old cycle', () => {
    const asked = { ...base, notStartedBy: '2026-03-28', stillBleedingOn: '2026-03-04', toldOn: '2026-03-10' }
    const { history, contradiction } = heardStart(asked, '2026-03-30', '2026-03-31')
    expect(contradiction).toBeUndefined()
    expect(history).toEqual({ ...base, lmp: '2026-03-30', pastStarts: ['2026-03-02'] })
    expect(sortEvidence(history).evidence.lengths).toEqual([28])
    expect(checkHistory(history, '2026-03-31')).toEqual([])
  })

  it('counts cycles by dates and by lengths only once', () => {
    const told = { ...base, pastCycleDays: [30, 28], pastStarts: ['2026-01-03', '2026-02-02'] }
    expect(sortEvidence(told).evidence.lengths).toEqual([30, 28])
    expect(sortEvidence({ ...told, pastCycleDays: [31, 30, 28] }).evidence.lengths).toEqual([31, 30, 28])
    expect(sortEvidence({ ...told, pastCycleDays: [31] }).evidence.lengths).toEqual([31, 30, 28])
  })

  it('told twice changes nothing the second time', () => {
    const once = heardStart(base, '2026-03-30', '2026-03-31').history
    expect(heardStart(once, '2026-03-30', '2026-04-01')).toEqual({ history: once })
  })

  it('makes an "about" LMP exact when it is the same period', () => {
    const about = { ...base, lmpGiveDays: 4 }
    expect(heardStart(about, '2026-03-05', '2026-03-20').history).toEqual({ ...base, lmp: '2026-03-05' })
    expect(heardStart(about, '2026-02-27', '2026-03-20').history).toEqual({ ...base, lmp: '2026-02-27' })
  })

  it('answers an unknown LMP', () => {
    expect(heardStart({ status: 'unknown' }, '2026-03-30', '2026-03-31').history).toEqual({
      status: 'cycling',
      lmp: '2026-03-30',
    })
  })

  it.each<[string, CycleHistory, string]>([
    ['6 days after the last one', base, '2026-03-08'],
    ['before the last one', base, '2026-02-20'],
    ['in the future', base, '2026-04-20'],
    ['from somebody who has no periods', { status: 'no-periods' }, '2026-03-30'],
    ['from somebody after menopause', { status: 'no-periods', because: 'after-menopause' }, '2026-03-30'],
    ['from somebody pregnant', { status: 'pregnant' }, '2026-03-30'],
  ])('is put to a person when it is %s, and the history stays as it was', (_name, history, startedOn) => {
    const heard = heardStart(history, startedOn, '2026-03-31')
    expect(heard.contradiction).toMatch(/^[A-Z].*\.$/)
    expect(heard.history).toEqual(history)
  })
})

describe('other answers', () => {
  it('"not yet" is kept by its latest date', () => {
    const later = heardNotStarted(base, '2026-03-28').history
    expect(later.notStartedBy).toBe('2026-03-28')
    expect(heardNotStarted(later, '2026-03-20').history).toBe(later)
    expect(heardNotStarted(later, '2026-03-30').history.notStartedBy).toBe('2026-03-30')
  })

  it('"not yet" from before the LMP on file is put to a person', () => {
    expect(heardNotStarted(base, '2026-02-20').contradiction).toBeDefined()
  })

  it('the end of a bleed, or a bleed that goes on, is kept unless it cannot belong to the period on file', () => {
    expect(heardEnded(base, '2026-03-06').history.endedOn).toBe('2026-03-06')
    expect(heardStillBleeding(base, '2026-03-08').history.stillBleedingOn).toBe('2026-03-08')
    expect(heardEnded(base, '2026-03-01').contradiction).toBeDefined()
    expect(heardStillBleeding(base, '2026-03-25').contradiction).toContain('new one')
  })
})
