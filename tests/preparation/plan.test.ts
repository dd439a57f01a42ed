import fc from 'fast-check'
import { Temporal } from 'temporal-polyfill'
import { describe, expect, it } from 'vitest'
import { toInstant, withOffset } from '../../src/domain/local-time.ts'
import { prepDeadline } from '../../src/domain/preparation/deadline.ts'
import { planMessages, type PlanInput } from '../../src/domain/preparation/plan.ts'
import { DEFAULT_HOURS } from '../../src/domain/preparation/sending-hours.ts'

const zone = 'America/Halifax'
const at = (local: string) => toInstant(local, zone, 'at')

function input(changes: Partial<PlanInput> = {}): PlanInput {
  return { visit: at('2026-03-20T10:30'), zone, now: at('2026-02-20T15:00'), hours: DEFAULT_HOURS, prepHours: 48, ask: null, done: [], others: [], ...changes }
}

const told = (changes: Partial<PlanInput>) =>
  planMessages(input(changes)).messages.map(({ kind, sendAt }) => `${kind} ${withOffset(sendAt, zone).slice(0, 16)}`)

describe('the plan of a visit', () => {
  it('confirms at once, prepares the evening before the mark, reminds the day before', () => {
    expect(told({})).toEqual(['confirmation 2026-02-20T15:00', 'prep 2026-03-17T18:00', 'day-before 2026-03-19T17:00'])
  })

  it('lets preparation become worthless at the mark', () => {
    const prep = planMessages(input()).messages.find(({ kind }) => kind === 'prep')!
    expect(withOffset(prep.notAfter, zone)).toBe('2026-03-18T10:30:00-03:00')
  })

  it('prepares at once when booked after the usual time but before the mark', () => {
    expect(told({ now: at('2026-03-18T09:30') })).toContain('prep 2026-03-18T09:30')
  })

  it('says what can still be kept when booked after the mark, and warns the desk', () => {
    const plan = planMessages(input({ now: at('2026-03-19T12:00') }))
    expect(plan.messages.map(({ kind }) => kind)).toEqual(['confirmation', 'late-prep'])
    expect(plan.warnings.map(({ code }) => code)).toEqual(['short-notice'])
  })

  it('leaves it to a call when no decent hour is left', () => {
    const plan = planMessages(input({ visit: at('2026-03-20T09:30'), now: at('2026-03-19T20:30') }))
    expect(plan.messages.filter(({ kind }) => kind === 'late-prep')).toEqual([])
    expect(plan.warnings.map(({ code }) => code)).toEqual(['short-notice', 'no-time-to-tell'])
  })

  it('asks for the LMP the next day when it is unknown', () => {
    expect(told({ ask: { kind: 'lmp-question' } })).toContain('lmp-question 2026-02-21T15:00')
  })

  it('moves preparation to an earlier evening rather than send two messages a day', () => {
    expect(told({ others: [at('2026-03-17T09:00')] })).toContain('prep 2026-03-16T18:00')
  })

  it('says so when the week is full', () => {
    const others = ['2026-03-14T09:00', '2026-03-15T09:00', '2026-03-16T09:00', '2026-03-17T12:00', '2026-03-19T12:00'].map(at)
    const plan = planMessages(input({ others }))
    expect(plan.warnings.map(({ code, kind }) => `${code} ${kind}`)).toContain('cap-reached prep')
  })

  it('does not repeat what was said for this time already', () => {
    expect(told({ done: ['confirmation', 'prep'] })).toEqual(['day-before 2026-03-19T17:00'])
  })

  it('needs no preparation where the protocol asks for none', () => {
    expect(told({ prepHours: 0 })).toEqual(['confirmation 2026-02-20T15:00', 'day-before 2026-03-19T17:00'])
  })
})

const ZONES = ['America/Halifax', 'America/St_Johns', 'America/Phoenix', 'Europe/London', 'Australia/Lord_Howe', 'Asia/Kathmandu', 'Pacific/Chatham', 'Africa/Cairo', 'America/Santiago']

/** Any visit by day over two years, booked minutes or weeks ahead, with other messages around it. */
const anyInput = fc
  .record({
    day: fc.integer({ min: 0, max: 730 }),
    hour: fc.integer({ min: 7, max: 19 }),
    zone: fc.constantFrom(...ZONES),
    ahead: fc.integer({ min: 5, max: 60 * 24 * 45 }),
    prepHours: fc.constantFrom(0, 24, 48, 72),
    others: fc.array(fc.integer({ min: -10 * 1440, max: 10 * 1440 }), { maxLength: 4 }),
    check: fc.option(fc.integer({ min: 1, max: 12 })),
  })
  .map(({ day, hour, zone: timeZone, ahead, prepHours, others, check }): PlanInput => {
    const date = Temporal.PlainDate.from('2026-01-01').add({ days: day })
    const visit = new Date(date.toPlainDateTime({ hour }).toZonedDateTime(timeZone).epochMilliseconds)
    return {
      visit,
      zone: timeZone,
      now: new Date(visit.getTime() - ahead * 60_000),
      hours: DEFAULT_HOURS,
      prepHours,
      ask: check === null ? { kind: 'lmp-question' } : { kind: 'cycle-check', on: date.subtract({ days: check }).toString() },
      done: [],
      others: others.map((minutes) => new Date(visit.getTime() + minutes * 60_000)),
    }
  })

const local = (instant: Date, timeZone: string) => Temporal.Instant.fromEpochMilliseconds(instant.getTime()).toZonedDateTimeISO(timeZone)

describe('any plan, in every zone and across both clock changes (judged by Temporal)', () => {
  it('never plans preparation at or after its mark, and nothing at or after its own end', () => {
    fc.assert(
      fc.property(anyInput, (each) => {
        for (const { kind, sendAt, notAfter } of planMessages(each).messages) {
          if (kind === 'prep') expect(sendAt.getTime()).toBeLessThan(prepDeadline(each.visit, each.prepHours).getTime())
          expect(sendAt.getTime()).toBeLessThan(notAfter.getTime())
          expect(notAfter.getTime()).toBeLessThanOrEqual(each.visit.getTime())
        }
      }),
      { numRuns: 1000 },
    )
  })

  it('never plans anything outside sending hours or in the past', () => {
    fc.assert(
      fc.property(anyInput, (each) => {
        for (const { sendAt } of planMessages(each).messages) {
          const { hour } = local(sendAt, each.zone)
          expect(hour >= 9 && hour < 20).toBe(true)
          expect(sendAt.getTime()).toBeGreaterThanOrEqual(each.now.getTime())
        }
      }),
      { numRuns: 1000 },
    )
  })

  it('keeps the caps of one a day and three in any seven days', () => {
    fc.assert(
      fc.property(anyInput, (each) => {
        const dayOf = (instant: Date) => local(instant, each.zone).toPlainDate().since('2020-01-01').days
        const planned = planMessages(each).messages.filter(({ unsolicited }) => unsolicited).map(({ sendAt }) => dayOf(sendAt))
        const days = [...each.others.map(dayOf), ...planned]
        for (const day of planned) {
          expect(days.filter((other) => other === day)).toHaveLength(1)
          for (let first = day - 6; first <= day; first++) expect(days.filter((other) => other >= first && other < first + 7).length).toBeLessThanOrEqual(3)
        }
      }),
      { numRuns: 1000 },
    )
  })

  it('either plans preparation or says why not', () => {
    fc.assert(
      fc.property(anyInput, (each) => {
        const { messages, warnings } = planMessages(each)
        const prepared = messages.some(({ kind }) => kind === 'prep' || kind === 'late-prep')
        if (each.prepHours > 0 && !prepared) expect(warnings.length).toBeGreaterThan(0)
      }),
      { numRuns: 500 },
    )
  })
})
