import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import { addDays } from '../../src/domain/preparation/cycle/days.ts'
import { weeksStrip } from '../../src/domain/preparation/cycle/strip.ts'
import { USUAL_TIMING } from '../preparation/cycle/usual-timing.ts'
import { findableBy, lookedFor } from '../../src/domain/patients/search-words.ts'
import { thingsToAsk, type VisitAsHeard } from '../../src/domain/preparation/things-to-ask.ts'
import { seriesTimes } from '../../src/domain/visits/opening-series.ts'
import { wordsToSay } from '../../src/domain/calls/words-to-say.ts'
import { byHandFaults } from '../../src/domain/messages/texts/by-hand.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { escapeHtml } from '../../src/adapters/http/pages/html.ts'

const weekday = (date: string) => DateTime.fromISO(date, { zone: 'utc' }).weekday
const someDate = fc.integer({ min: 0, max: 700 }).map((days) => addDays('2026-01-01', days))

describe('the strip of weeks', () => {
  it('is whole weeks from Monday to Sunday, with the visit in it, whatever the dates', () => {
    fc.assert(
      fc.property(someDate, fc.integer({ min: 0, max: 60 }), (today, ahead) => {
        const visit = addDays(today, ahead)
        const { weeks } = weeksStrip({ status: 'cycling', lmp: addDays(today, -10) }, visit, USUAL_TIMING, today)
        expect(weeks.every((days) => days.length === 7 && weekday(days[0]!.date) === 1)).toBe(true)
        expect(weeks.flat().map(({ date }) => date)).toContain(visit)
        expect(weeks.length).toBeGreaterThanOrEqual(4)
      }),
      { numRuns: 60 },
    )
  })

  it('says in words what it draws: runs without gaps, neighbours of different ratings, chances of their own days', () => {
    const { weeks, runs } = weeksStrip(
      { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 },
      '2026-03-31',
      USUAL_TIMING,
      '2026-03-09',
    )
    const days = weeks.flat()
    expect(runs[0]!.from).toBe(days[0]!.date)
    expect(runs.at(-1)!.to).toBe(days.at(-1)!.date)
    runs.slice(1).forEach((run, index) => {
      expect(run.from).toBe(addDays(runs[index]!.to, 1))
      expect(run.rating).not.toBe(runs[index]!.rating)
    })
    for (const { from, to, rating, chance } of runs) {
      const own = days.filter(({ date }) => date >= from && date <= to)
      expect(
        own.every(
          (day) => day.rating === rating && day.avoidProbability >= chance.least && day.avoidProbability <= chance.most,
        ),
      ).toBe(true)
    }
  })

  it('shows the next period as days to avoid and two weeks after it as best', () => {
    const { weeks } = weeksStrip(
      { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28, pastCycleDays: [28, 28, 28, 28] },
      '2026-03-31',
      USUAL_TIMING,
      '2026-03-09',
    )
    const on = (date: string) => weeks.flat().find((day) => day.date === date)!
    expect(on('2026-03-31').rating).toBe('avoid') // day 2 at 28 days
    expect(on('2026-04-13').rating).toBe('best') // day 15
    expect(on('2026-03-31').avoidProbability).toBeGreaterThan(on('2026-03-25').avoidProbability)
  })
})

describe('looking for a patient', () => {
  const finds = (typed: string, patient: { name: string; phone: string }) => {
    const words = lookedFor(typed)
    const findable = findableBy(patient)
    return words.length > 0 && words.every((word) => findable.includes(word))
  }
  const elodie = { name: "Élodie O'Hara-Núñez", phone: '+17825550142' }

  it.each(['elodie', 'ÉLO', 'ohara', 'nunez', 'nunez elodie', "O'Hara", '0142'])('finds her by “%s”', (typed) =>
    expect(finds(typed, elodie)).toBe(true),
  )
  it.each(['el', 'odie', 'elodie smith', '0143', '', '  '])('does not find her by “%s”', (typed) =>
    expect(finds(typed, elodie)).toBe(false),
  )

  it('finds everybody by the patient whole name, in any case, whatever the script', () => {
    const names = fc.array(
      fc.constantFrom('Marit', 'Ødegård', 'Ґанна', 'ਜਸਲੀਨ', 'Łucja', 'de', 'la', 'Åse', 'Brandle-Skerrow'),
      { minLength: 1, maxLength: 4 },
    )
    fc.assert(
      fc.property(names, (words) =>
        finds(words.join(' ').toUpperCase(), { name: words.join(' '), phone: '+17825550100' }),
      ),
    )
  })
})

describe('a series of openings', () => {
  const mornings = {
    from: '2026-03-02',
    to: '2026-03-15',
    weekdays: [2, 4],
    first: '09:00',
    until: '10:00',
    everyMinutes: 20,
  }

  it('is every 20 minutes on Tuesday and Thursday mornings', () => {
    const times = seriesTimes(mornings, 'America/Halifax')
    expect(times).toHaveLength(12)
    expect(times.slice(0, 4)).toEqual(['2026-03-03T09:00', '2026-03-03T09:20', '2026-03-03T09:40', '2026-03-05T09:00'])
    expect(times.every((at) => [2, 4].includes(weekday(at.slice(0, 10))))).toBe(true)
  })

  // Clocks in New York skip 02:00 to 03:00 on 8 March 2026 and repeat 01:00 to 02:00 on 1 November 2026.
  it('leaves out times that the clocks skip or show twice', () => {
    const night = {
      ...mornings,
      from: '2026-03-08',
      to: '2026-03-08',
      weekdays: [7],
      first: '01:30',
      until: '03:30',
      everyMinutes: 30,
    }
    expect(seriesTimes(night, 'America/New_York')).toEqual(['2026-03-08T01:30', '2026-03-08T03:00'])
    const autumn = { ...night, from: '2026-11-01', to: '2026-11-01', first: '00:30' }
    expect(seriesTimes(autumn, 'America/New_York')).toEqual([
      '2026-11-01T00:30',
      '2026-11-01T02:00',
      '2026-11-01T02:30',
      '2026-11-01T03:00',
    ])
  })

  it.each([
    ['an end before its beginning', { to: '2026-03-01' }],
    ['no such day of the week between its dates', { from: '2026-03-06', to: '2026-03-06' }],
    ['hours that end before they begin', { until: '08:00' }],
    ['more than half a year', { to: '2026-12-31' }],
    ['too many at once', { everyMinutes: 5, until: '23:00', to: '2026-06-01' }],
  ])('is refused with %s', (_what, changes) =>
    expect(() => seriesTimes({ ...mornings, ...changes }, 'America/Halifax')).toThrow(/bad-input/),
  )
})

describe('what to ask at the visit', () => {
  const usual: VisitAsHeard = {
    booking: { shortNotice: false, lapses: [], confirmedAt: null },
    protocol: { avoidDays: { first: 1, last: 5 }, prepHours: 48 },
    forecast: { rating: 'best', cycleDay: 15 },
    standing: 'told',
    open: [],
  }

  it('is nothing when the patient was told in time and the day is good', () => expect(thingsToAsk(usual)).toEqual([]))
  it('is about bleeding when the timing is doubtful', () =>
    expect(thingsToAsk({ ...usual, forecast: { rating: 'unsure', cycleDay: 27 } })).toEqual([
      expect.stringMatching(/bleeding/i),
    ]))
  it('is not about bleeding when any day will do', () =>
    expect(
      thingsToAsk({
        ...usual,
        protocol: { avoidDays: null, prepHours: 48 },
        forecast: { rating: 'unsure', cycleDay: null },
      }),
    ).toEqual([]))
  it('is about what the patient avoided when the patient was told late, or not at all', () => {
    for (const standing of ['told-late', 'not-reached', 'nobody-tells', 'on-its-way'] as const)
      expect(thingsToAsk({ ...usual, standing }).join()).toMatch(/avoid/)
    expect(thingsToAsk({ ...usual, booking: { ...usual.booking, shortNotice: true } }).join()).toMatch(/avoid/)
  })
  it("brings up the patient's lapse and the patient's unanswered words", () => {
    const asks = thingsToAsk({
      ...usual,
      booking: { ...usual.booking, lapses: ['used a cream'] },
      open: ['unclear-reply'],
    })
    expect(asks.join(' ')).toMatch(/lapse.*message/i)
  })
})

describe('words to say on the telephone', () => {
  const filled = (reason: FollowUpReason) =>
    wordsToSay(reason, { visit: 'on Tuesday 3 March 2026 at 10:20', dates: 'Thu 12 Mar; Thu 26 Mar' })

  it('never name a result or a diagnosis, never tell the patient to stop a medicine, and leave no gap unfilled', () => {
    for (const reason of Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]) {
      const words = filled(reason) ?? ''
      expect(words).not.toMatch(/result|positive|negative|abnormal|cancer|diagnos|stop tak|\{/i)
    }
  })
  it('offer the good dates when the visit should move', () =>
    expect(filled('badly-timed')).toMatch(/Tuesday 3 March.*Thu 12 Mar; Thu 26 Mar/))
  it("fetch a clinician and name the emergency number when the patient's words alarm", () =>
    expect(filled('alarm')).toMatch(/clinician.*emergency number/))
})

describe('a message written by hand', () => {
  const english = loadTexts().languages.get('en')!

  it('may say where to park', () => expect(byHandFaults('Please park behind the bakery.', english, 'full')).toEqual([]))
  it.each(['Your result is here.', '', 'x'.repeat(281), 'STOP'])('is refused: “%.20s”', (words) =>
    expect(byHandFaults(words, english, 'full')).not.toEqual([]),
  )
  it('names nothing that tells what the visit is for, where the patient asked for discreet texts', () => {
    expect(byHandFaults('Please use no cream before your visit.', english, 'full')).toEqual([])
    const telling = english.telling[0]!
    expect(byHandFaults(`Before your ${telling}.`, english, 'discreet')).toEqual([expect.stringContaining(telling)])
  })
})

it('nothing put into a page can open a tag or end an attribute', () => {
  fc.assert(fc.property(fc.string(), (text) => !/[<>"']/.test(escapeHtml(text))))
})
