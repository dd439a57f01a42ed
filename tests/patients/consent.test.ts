import { describe, expect, it } from 'vitest'
import { consentEnd, whyNoConsent, type CountedConsent } from '../../src/domain/patients/consent.ts'
import { handsDoubt, type NumberSigns } from '../../src/domain/patients/changed-hands.ts'
import { obstaclesTo, type Approach } from '../../src/domain/patients/unreachable.ts'
import { withinConsent } from '../../src/domain/preparation/within-consent.ts'
import { CLINIC } from '../harness/world.ts'

// Whose consent counts, until when, and when it must be asked for again: rules of our own, no source.
const at = (day: string) => new Date(`${day}T12:00:00Z`)
const consent = (day: string, more: Partial<CountedConsent> = {}): CountedConsent => ({
  ...{ channel: 'sms', recordedAt: at(day), until: null, givenBy: 'patient' },
  ...more,
})
const receiver = { relation: 'guardian', name: 'Bo', fullDetail: false, since: at('2026-02-01').toISOString() } as const
const doubt = { why: 'came-back', since: at('2026-02-01').toISOString() } as const

describe('consent', () => {
  it.each([
    ['none', {}, [], undefined, ''],
    ['without an end', {}, [consent('2026-01-01')], null, null],
    ['on its last day', {}, [consent('2026-01-01', { until: '2026-03-09' })], '2026-03-09', null],
    ['on the day after', {}, [consent('2026-01-01', { until: '2026-03-08' })], '2026-03-08', /ended on 8 March 2026/],
    [
      'the later of two ends told at once',
      {},
      [consent('2026-01-01', { until: '2026-03-08' }), consent('2026-01-01', { until: '2026-04-01' })],
      '2026-04-01',
      null,
    ],
    [
      'without an end, told at once with one that has one',
      {},
      [consent('2026-01-01'), consent('2026-01-01', { until: '2026-03-08' })],
      null,
      null,
    ],
    [
      'without an end, then with one',
      {},
      [consent('2026-01-01'), consent('2026-03-01', { until: '2026-03-12' })],
      '2026-03-12',
      null,
    ],
    [
      'with an end, then with an earlier one',
      {},
      [consent('2026-03-01', { until: '2026-03-08' }), consent('2026-01-01', { until: '2026-04-01' })],
      '2026-03-08',
      /ended on 8 March 2026/,
    ],
    ['ended, and given anew', {}, [consent('2026-01-01', { until: '2026-03-08' }), consent('2026-03-01')], null, null],
    ['to another channel', {}, [consent('2026-01-01', { channel: 'voice' })], undefined, ''],
    [
      'of the patient, where somebody receives',
      { receiver },
      [consent('2026-03-01')],
      undefined,
      /Somebody else receives/,
    ],
    ['of the receiver', { receiver }, [consent('2026-03-01', { givenBy: 'receiver' })], null, null],
    [
      'of a receiver before this one',
      { receiver },
      [consent('2026-01-01', { givenBy: 'receiver' })],
      undefined,
      /Somebody else receives/,
    ],
    [
      'of a receiver, where the patient reads',
      {},
      [consent('2026-03-01', { givenBy: 'receiver' })],
      undefined,
      /ask the patient/,
    ],
    [
      'of before the number changed hands',
      { handsDoubt: doubt },
      [consent('2026-01-01')],
      undefined,
      /may have changed hands/,
    ],
    ['of after that', { handsDoubt: doubt }, [consent('2026-02-01')], null, null],
  ] as const)('%s', (_what, patient, consents, end, why) => {
    const said = whyNoConsent(patient, [...consents], 'sms', '2026-03-09')
    expect(consentEnd(patient, [...consents], 'sms')).toBe(end)
    if (why === null) expect(said).toBeNull()
    else expect(said?.why ?? '').toMatch(why)
  })

  it('an end leaves of a plan what comes before it, and says what does not', () => {
    const message = (day: string, kind: 'prep' | 'day-before') => ({
      kind,
      sendAt: at(day),
      notAfter: at(day),
      unsolicited: true,
    })
    const plan = { messages: [message('2026-03-17', 'prep'), message('2026-03-19', 'day-before')], warnings: [] }
    const kept = withinConsent(plan, '2026-03-17', 'America/Halifax', false)
    expect(kept.messages.map(({ kind }) => kind)).toEqual(['prep'])
    expect(kept.warnings).toMatchObject([
      { code: 'consent-ends', kind: 'day-before', message: expect.stringMatching(/17 March 2026/) },
    ])
    expect(withinConsent(plan, '2026-03-16', 'America/Halifax', true)).toEqual({ messages: [], warnings: [] })
    expect(withinConsent(plan, '2026-03-19', 'America/Halifax', false)).toBe(plan)
    expect(withinConsent(plan, null, 'America/Halifax', false)).toBe(plan)
  })
})

describe('a number that may have changed hands', () => {
  const back = (day: string, cameBack = true) => ({ cameBack, at: at(day) })
  const nothing: NumberSigns = { alive: null, ended: [] }
  const three = [back('2026-03-03'), back('2026-03-02'), back('2026-03-01')]

  it.each([
    ['nothing was agreed to', [], nothing, null, null],
    ['agreed lately', ['2025-06-01'], nothing, null, null],
    ['agreed a year ago to the day', ['2025-03-09'], nothing, null, null],
    ['silent for longer', ['2025-03-08'], nothing, null, 'silent'],
    ['agreed long ago, and heard since', ['2020-01-01'], { alive: at('2025-12-01'), ended: [] }, null, null],
    ['heard long ago', ['2020-01-01'], { alive: at('2024-12-01'), ended: [] }, null, 'silent'],
    ['three came back', ['2026-01-01'], { alive: at('2026-02-01'), ended: three }, null, 'came-back'],
    ['three came back before consent', ['2026-03-04'], { alive: null, ended: three }, null, null],
    ['two came back', ['2026-01-01'], { alive: null, ended: three.slice(0, 2) }, null, null],
    [
      'the third arrived',
      ['2026-01-01'],
      { alive: null, ended: [...three.slice(0, 2), back('2026-03-01', false)] },
      null,
      null,
    ],
    ['wrong person taken back', ['2026-01-01'], nothing, '2026-02-01', 'lifted'],
    ['that before consent', ['2026-02-02'], nothing, '2026-02-01', null],
    ['agreed long ago, at another number', ['2020-01-01'], nothing, null, null, '2026-01-01'],
    ['silent at this number for a year too', ['2020-01-01'], nothing, null, 'silent', '2025-03-08'],
  ] as const)('%s', (_what, agreed, signs, lifted, why, numberSince: string | null = null) => {
    const found = handsDoubt({
      consents: agreed.map((day) => ({ recordedAt: at(day) })),
      signs: signs as NumberSigns,
      lifted: lifted && at(lifted).toISOString(),
      numberSince: numberSince && at(numberSince).toISOString(),
      now: at('2026-03-09'),
      months: 12,
    })
    expect(found?.why ?? null).toBe(why)
  })
})

describe('what stands in the way', () => {
  const approach = (patient: object, more: Partial<Approach> = {}): Approach => ({
    patient: { id: 'p', clinicId: 'harbour', name: 'Ada', phone: '+17825550101', channel: 'sms', ...patient } as never,
    clinic: { ...CLINIC, settings: { ...CLINIC.settings, minors: { below: 16, then: 'person' } } },
    ...{ booking: null, refused: null, consents: [consent('2026-01-01')], channel: 'sms', at: at('2026-03-09') },
    ...more,
  })
  const codes = (...about: Parameters<typeof approach>) => obstaclesTo(approach(...about)).map(({ code }) => code)

  it.each([
    ['nothing', {}, {}, []],
    ['died', { reportedDead: true }, {}, ['died']],
    ['a refusal', {}, { refused: 'wrong-person' }, ['opted-out']],
    ['an age', { birthDate: '2012-01-01' }, {}, ['minor']],
    ['a landline', { reach: 'calls-only' }, {}, ['no-such-way']],
    ['a call that is not heard', { reach: 'texts-only' }, { channel: 'voice' }, ['no-such-way', 'no-consent']],
    ['no consent', {}, { consents: [] }, ['no-consent']],
    [
      'all of it',
      { reportedDead: true, birthDate: '2012-01-01', reach: 'neither' },
      { refused: 'stop', consents: [] },
      ['died', 'opted-out', 'minor', 'no-such-way', 'no-consent'],
    ],
  ] as const)('%s', (_what, patient, more, expected) => {
    expect(codes(patient, more as Partial<Approach>)).toEqual(expected)
  })

  it('the day of consent is the one where the patient lives', () => {
    const ended = { consents: [consent('2026-01-01', { until: '2026-03-09' })], at: new Date('2026-03-10T02:00:00Z') }
    expect(codes({}, ended)).toEqual([])
    expect(codes({ zone: 'Europe/Paris' }, ended)).toEqual(['no-consent'])
  })
})
