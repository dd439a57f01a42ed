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
  return {
    visit: at('2026-03-20T10:30'),
    zone,
    now: at('2026-02-20T15:00'),
    hours: DEFAULT_HOURS,
    prepHours: 48,
    ask: null,
    done: [],
    others: [],
    ...changes,
  }
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
    expect(plan.messages.map(({ kind }) => kind)).toEqual(['late-prep'])
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
    const others = [
      '2026-03-14T09:00',
      '2026-03-15T09:00',
      '2026-03-16T09:00',
      '2026-03-17T12:00',
      '2026-03-19T12:00',
    ].map(at)
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

describe('preparation at the last moment', () => {
  const codes = (changes: Partial<PlanInput>) => planMessages(input(changes)).warnings.map(({ code }) => code)

  // The mark is on Wednesday 18 March at 10:30. Awake is 07:00 to 22:00: a judgement, no source.
  it.each([
    ['2026-03-17T17:59', []], // the usual time, six in the evening before
    ['2026-03-17T19:00', []], // three hours that evening, three and a half in the morning
    ['2026-03-17T20:30', ['tight']], // told at nine in the morning
    ['2026-03-18T09:30', ['tight']],
    ['2026-03-18T10:25', ['tight']],
    ['2026-03-18T10:35', ['short-notice']],
  ])('booked at %s warns of %j', (now, warned) => {
    expect(codes({ now: at(now) })).toEqual(warned)
  })

  it.each([
    ['2026-03-18T10:25', 'prep', '2026-03-18T10:25'],
    ['2026-03-18T08:00', 'prep', '2026-03-18T09:00'],
    ['2026-03-19T19:50', 'late-prep', '2026-03-19T19:50'],
  ])('booked at %s is one message with the confirmation', (now, kind, sendAt) => {
    const [first, second] = planMessages(input({ now: at(now) })).messages
    expect({ ...first!, sendAt: withOffset(first!.sendAt, zone).slice(0, 16) }).toMatchObject({
      ...{ kind, sendAt, confirms: true, unsolicited: true },
    })
    expect(second?.kind).not.toBe('confirmation')
  })

  it('says nothing of a confirmation that was said, or that no preparation can carry', () => {
    const plan = (changes: Partial<PlanInput>) =>
      planMessages(input({ now: at('2026-03-18T10:25'), ...changes })).messages.map(
        ({ kind, confirms = false }) => `${kind} ${confirms}`,
      )
    expect(plan({ done: ['confirmation'] })).toContain('prep false')
    expect(plan({ prepHours: 0 })).toContain('confirmation false')
    expect(plan({ done: ['prep'] })).toContain('confirmation false')
  })

  it('leaves the last period to be asked by a person where there is no time for a message', () => {
    const unknown = { ask: { kind: 'lmp-question' } } as const
    expect(codes({ ...unknown, now: at('2026-03-17T12:00') })).toEqual(['not-asked'])
    expect(codes({ ...unknown, now: at('2026-03-15T12:00') })).toEqual([])
    expect(codes({ ...unknown, now: at('2026-03-17T12:00'), done: ['lmp-question'] })).toEqual([])
  })
})

describe('the day before, where the clocks change at night', () => {
  const eveOf = (zone: string, visit: string) => {
    const plan = planMessages(
      input({ zone, visit: toInstant(visit, zone, 'visit'), now: toInstant('2026-03-01T12:00', zone, 'now') }),
    )
    const eve = plan.messages.find(({ kind }) => kind === 'day-before')!
    return [eve.sendAt, eve.notAfter].map((at) => local(at, zone).toPlainDateTime().toString())
  }

  it('is the date before the visit, also when the hour of the visit was skipped on it', () => {
    // Nuuk: the clocks go from 23:00 to midnight on 28 March 2026 (IANA time zone database).
    expect(eveOf('America/Nuuk', '2026-03-29T23:51')).toEqual(['2026-03-28T17:00:00', '2026-03-29T00:00:00'])
  })

  it('ends with the day, also when that day began at one o’clock', () => {
    // Beirut: 25 March 2029 begins at 01:00 (IANA time zone database).
    expect(eveOf('Asia/Beirut', '2029-03-26T00:00')).toEqual(['2029-03-25T17:00:00', '2029-03-26T00:00:00'])
  })
})

const ZONES = [
  'America/Halifax',
  'America/St_Johns',
  'America/Phoenix',
  'Europe/London',
  'Australia/Lord_Howe',
  'Asia/Kathmandu',
  'Pacific/Chatham',
  'Africa/Cairo',
  'America/Santiago',
]

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
      ask:
        check === null
          ? { kind: 'lmp-question' }
          : {
              kind: 'cycle-check',
              on: date.subtract({ days: check }).toString(),
              again: check > 5 ? date.subtract({ days: check - 2 }).toString() : null,
            },
      done: [],
      others: others.map((minutes) => new Date(visit.getTime() + minutes * 60_000)),
    }
  })

const local = (instant: Date, timeZone: string) =>
  Temporal.Instant.fromEpochMilliseconds(instant.getTime()).toZonedDateTimeISO(timeZone)

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
        const planned = planMessages(each)
          .messages.filter(({ unsolicited }) => unsolicited)
          .map(({ sendAt }) => dayOf(sendAt))
        const days = [...each.others.map(dayOf), ...planned]
        for (const day of planned) {
          expect(days.filter((other) => other === day)).toHaveLength(1)
          for (let first = day - 6; first <= day; first++)
            expect(days.filter((other) => other >= first && other < first + 7).length).toBeLessThanOrEqual(3)
        }
      }),
      { numRuns: 1000 },
    )
  })

  it('says so when it prepares late with under four waking hours left, counted minute by minute', () => {
    fc.assert(
      fc.property(anyInput, fc.integer({ min: 1, max: 900 }), (each, minutes) => {
        const mark = prepDeadline(each.visit, each.prepHours)
        const now = new Date(mark.getTime() - minutes * 60_000)
        const { messages, warnings } = planMessages({ ...each, now, others: [] })
        const prep = messages.find(({ kind }) => kind === 'prep')
        if (each.prepHours === 0 || !prep) return
        let awake = 0
        for (let time = prep.sendAt.getTime(); time < mark.getTime(); time += 60_000) {
          const { hour } = local(new Date(time), each.zone)
          if (hour >= 7 && hour < 22) awake++
        }
        // What was booked before the usual time goes at it.
        const late = prep.sendAt.getTime() === now.getTime() || local(prep.sendAt, each.zone).hour === 9
        if (late) expect(warnings.some(({ code }) => code === 'tight')).toBe(awake < 240)
        else expect(warnings.map(({ code }) => code)).not.toContain('tight')
      }),
      { numRuns: 100 },
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
