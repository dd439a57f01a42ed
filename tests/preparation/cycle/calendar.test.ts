import { describe, expect, it } from 'vitest'
import { drawCalendar } from '../../../src/domain/preparation/cycle/calendar.ts'
import { FORECAST_CAUTION, forecastDays } from '../../../src/domain/preparation/cycle/forecast.ts'
import { USUAL_TIMING } from './usual-timing.ts'

describe('the calendar for a person', () => {
  const days = forecastDays(
    { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 29 },
    { from: '2026-03-02', to: '2026-04-30' },
    USUAL_TIMING,
  )
  const drawn = drawCalendar(days, '2026-03-30')
  const lines = drawn.split('\n')

  it('names each month and puts each date under its weekday', () => {
    expect(drawn).toContain('March 2026')
    expect(drawn).toContain('April 2026')
    // 1 April 2026 is a Wednesday, 30 March a Monday.
    const [weekdays, first] = lines.slice(lines.indexOf('April 2026') + 1)
    expect(first!.indexOf(' 1 ')).toBe(weekdays!.indexOf('Wed') - 1)
    expect(lines.find((line) => line.includes('['))!.indexOf('30')).toBe(1)
  })

  it('marks the booked date once, and every rating by a letter that needs no colour', () => {
    expect(drawn.match(/\[30 /g)).toHaveLength(1)
    for (const { rating } of days) expect(drawn).toContain({ best: 'B', fine: 'F', unsure: 'U', avoid: 'A' }[rating])
    // No escape codes: it must read in print and on a screen reader.
    expect(drawn.includes('\u001b')).toBe(false)
    expect(lines.every((line) => line.length <= 80)).toBe(true)
  })

  it('never shows a small risk as none or a likely one as certain', () => {
    const day = { date: '2026-03-02', cycleDay: 1, bleedingProbability: 0, rating: 'fine' } as const
    expect(drawCalendar([{ ...day, avoidProbability: 0.0004 }])).toContain('F   1')
    expect(drawCalendar([{ ...day, avoidProbability: 0.9996 }])).toContain('F  99')
    expect(drawCalendar([{ ...day, avoidProbability: 0 }])).toContain('F   0')
  })

  it('says what it is not for', () => {
    expect(drawn).toContain(FORECAST_CAUTION)
    expect(FORECAST_CAUTION).toMatch(/pregnancy/)
  })
})
