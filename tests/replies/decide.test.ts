import { describe, expect, it } from 'vitest'
import { decideForNumber } from '../../src/domain/replies/decide-for-number.ts'
import { decideForVisit } from '../../src/domain/replies/decide-for-visit.ts'
import type { Situation } from '../../src/domain/replies/situation.ts'
import type { Reading } from '../../src/domain/replies/reading.ts'

// Rules of the product's own design; no outside table exists for them. Carrier words: CTIA and 47 CFR 64.1200(a)(10).
const reading = (meaning: Reading['meaning'], more: Partial<Reading> = {}): Reading => ({
  meaning,
  confidence: 0.9,
  words: [],
  ...more,
})

function situation(read: Reading, more: Partial<Situation> = {}): Situation {
  return {
    reading: read,
    history: { status: 'cycling', lmp: '2026-02-09' },
    today: '2026-03-09',
    offerOpen: false,
    mustMove: false,
    lapsePolicy: 'desk-decides',
    topics: ['shower'],
    mayBePutOff: true,
    keeps: () => true,
    isNear: false,
    isPregnant: false,
    hasPlace: false,
    askedForDay: false,
    mayUndo: false,
    isBadly: () => false,
    ...more,
  }
}

const done = (given: Situation) =>
  decideForVisit(given).map((effect) =>
    'noted' in effect && effect.noted
      ? `noted ${effect.noted.heard}`
      : 'kind' in effect
        ? `say ${effect.kind}`
        : 'reason' in effect && effect.do === 'follow-up'
          ? `follow-up ${effect.reason}`
          : effect.do,
  )

describe('what follows from a reply about the number', () => {
  it('STOP opts out and is confirmed once; whom nobody tells now is for the plans to say', () => {
    expect(decideForNumber(reading('stop', { words: ['STOP'] }))).toEqual([
      { do: 'opt-out', reason: 'stop' },
      { do: 'say', kind: 'stopped' },
    ])
  })

  it('a death is reported; it gets no alarm text, and a STOP beside it holds', () => {
    expect(decideForNumber(reading('died', { also: ['urgent'] }))).toEqual([{ do: 'report-death' }])
    expect(decideForNumber(reading('died', { also: ['stop'] }))).toContainEqual({ do: 'opt-out', reason: 'stop' })
  })

  it('"cancel" alone opts out, but a person checks whether the patient meant the visit', () => {
    expect(decideForNumber(reading('stop', { words: ['Cancel'], also: ['cannot-come'] })).at(-1)).toEqual({
      do: 'follow-up',
      reason: 'check-opt-out',
    })
  })

  it('an alarm beside a STOP still gets its text and its follow-up', () => {
    const effects = decideForNumber(reading('stop', { also: ['urgent'] }))
    expect(effects).toContainEqual({ do: 'say', kind: 'alarm' })
    expect(effects).toContainEqual({ do: 'follow-up', reason: 'alarm' })
  })

  it('an alarm is answered by the alarm text and nothing else', () => {
    expect(decideForNumber(reading('urgent', { also: ['period-started'] }))).toEqual([
      { do: 'say', kind: 'alarm' },
      { do: 'follow-up', reason: 'alarm' },
    ])
  })
})

describe('what follows from a reply about a visit', () => {
  it('a start that leaves the visit good is learned and reassured', () => {
    expect(done(situation(reading('period-started', { startedOn: '2026-03-09' })))).toEqual(['learn', 'noted started'])
  })

  it.each([
    [
      'after more than a year without',
      reading('period-started', { startedOn: '2026-03-08' }),
      { status: 'cycling', lmp: '2025-01-10' },
    ],
    [
      'at 55',
      reading('period-started', { startedOn: '2026-03-08' }),
      { status: 'cycling', lmp: '2026-02-09', age: 55 },
    ],
    ['on the ninth day', reading('still-bleeding'), { status: 'cycling', lmp: '2026-03-01' }],
    ['where no periods are expected', reading('bleeding-ended'), { status: 'no-periods' }],
    ['by the words', reading('confirm', { clinical: 'bleeding' }), { status: 'cycling', lmp: '2026-02-20' }],
  ] as const)('bleeding %s is for a clinician: nothing is learned or offered', (_when, read, history) => {
    const effects = done(situation(read, { history, keeps: () => false }))
    expect(effects).toEqual(expect.arrayContaining(['say clinician-calls', 'follow-up unexpected-bleeding']))
    expect(effects).not.toEqual(expect.arrayContaining([expect.stringMatching(/learn|offer/)]))
  })

  it('bleeding on the eighth day is a period', () => {
    expect(done(situation(reading('still-bleeding'), { history: { status: 'cycling', lmp: '2026-03-02' } }))).toEqual([
      'learn',
      'noted bleeding',
    ])
  })

  it('a start that spoils the visit leads to an offer, and no second text but what was noted', () => {
    expect(done(situation(reading('period-started', { startedOn: '2026-03-09' }), { keeps: () => false }))).toEqual([
      'learn',
      'noted started',
      'offer',
    ])
  })

  it('a start without a day leads to the question, and to a person if the patient does not answer', () => {
    expect(done(situation(reading('period-started')))).toEqual(['say lmp-question', 'follow-up unclear-reply'])
  })

  it('a start that contradicts the record goes to a person', () => {
    const odd = situation(reading('period-started', { startedOn: '2026-03-09' }), {
      history: { status: 'cycling', lmp: '2026-03-03' },
    })
    expect(done(odd)).toEqual(['say unclear', 'follow-up contradiction'])
  })

  it('bleeding where the record says "no periods" is for a clinician, today, and never an offer', () => {
    const given = situation(reading('period-started', { startedOn: '2026-03-09' }), {
      history: { status: 'no-periods' },
      keeps: () => false,
    })
    expect(done(given)).toEqual(['say clinician-calls', 'follow-up unexpected-bleeding'])
  })

  it('"started, so Friday won’t work" learns and offers, even where the dates alone would keep the visit', () => {
    expect(done(situation(reading('period-started', { startedOn: '2026-03-09', also: ['cannot-come'] })))).toEqual([
      'learn',
      'noted started',
      'offer',
    ])
  })

  it('"yes but I used a cream" thanks the patient\'s, confirms and tells the desk', () => {
    expect(done(situation(reading('prep-lapse', { also: ['confirm'] })))).toEqual([
      'note-lapse',
      'follow-up lapse',
      'say lapse',
      'confirm',
    ])
  })

  it('a period long overdue is for a person to ask about, never for an offer', () => {
    const late = situation(reading('not-started'), {
      history: { status: 'cycling', lmp: '2026-01-02' },
      keeps: () => false,
    })
    expect(done(late)).toEqual(['learn', 'say clinician-calls', 'follow-up late-period'])
  })

  it('a number is a choice only while an offer is open', () => {
    expect(done(situation(reading('choice', { choice: 2 }), { offerOpen: true }))).toEqual(['accept'])
    expect(done(situation(reading('choice', { choice: 2 })))).toEqual(['say unclear', 'follow-up unclear-reply'])
  })

  it('a question is answered only by an approved sentence', () => {
    expect(done(situation(reading('prep-question', { topic: 'shower' })))).toEqual(['say answer'])
    expect(done(situation(reading('prep-question', { topic: 'antibiotics' })))).toEqual([
      'say unclear',
      'follow-up prep-question',
    ])
  })

  it('never says two things at once, besides what was noted, whatever the patient wrote', () => {
    const meanings: Reading['meaning'][] = [
      'period-started',
      'not-started',
      'still-bleeding',
      'bleeding-ended',
      'confirm',
      'cannot-come',
      'choice',
      'prep-question',
      'prep-lapse',
      'unclear',
    ]
    for (const meaning of meanings)
      for (const also of meanings)
        for (const keep of [true, false]) {
          const effects = done(
            situation(reading(meaning, { also: [also], startedOn: '2026-03-09', choice: 1 }), {
              keeps: () => keep,
              offerOpen: true,
            }),
          )
          expect(
            effects.filter((effect) => effect.startsWith('say') || effect === 'offer' || effect === 'accept').length,
            `${meaning} and ${also}`,
          ).toBeLessThanOrEqual(1)
        }
  })
})
