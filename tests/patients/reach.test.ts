import { describe, expect, it } from 'vitest'
import { atNewNumber, howReached, type HowReached, type ToldReach } from '../../src/domain/patients/how-reached.ts'
import { ageOn, missingForMinor, type MinorsRule } from '../../src/domain/patients/minors.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'
import { onlyWay, reachAtNewNumber, reaches } from '../../src/domain/patients/reach.ts'
import type { Failure } from '../../src/domain/failure.ts'

// Which way reaches whom, who receives, and who is a minor: rules of our own, no source. Invented people.
const NOW = new Date('2026-03-09T13:00:00Z')
const OTHER = { relation: 'partner', name: 'Bo Fenwick' } as const

describe('how a number can be reached', () => {
  it.each([
    [undefined, true, true, undefined, 'both'],
    ['both', true, true, undefined, 'both'],
    ['calls-only', false, true, 'voice', 'both'],
    ['texts-only', true, false, 'sms', 'texts-only'],
    ['neither', false, false, undefined, 'texts-only'],
  ] as const)('%s: texts %s, calls %s, the only way %s, at another number %s', (reach, texts, calls, only, after) => {
    const patient = reach === undefined ? {} : { reach }
    expect([reaches(patient, 'sms'), reaches(patient, 'voice')]).toEqual([texts, calls])
    expect([onlyWay(patient), reachAtNewNumber(patient)]).toEqual([only, after])
  })
})

describe('what a booking says of it', () => {
  const known: HowReached = { channel: 'voice', detail: 'discreet', reach: 'calls-only', receiver: null }
  const receiver = { ...OTHER, fullDetail: false, since: '2026-01-05T10:00:00.000Z' }
  const FRESH = { reach: 'both', receiver: null, channel: 'sms', detail: 'full' }

  it.each<[string, HowReached | undefined, ToldReach, Partial<HowReached>]>([
    ['nothing, of somebody new', undefined, {}, FRESH as HowReached],
    ['nothing, of somebody known', known, {}, known],
    ['a landline alone', undefined, { reach: 'calls-only' }, { channel: 'voice' }],
    ['that calls are not heard', known, { reach: 'texts-only' }, { channel: 'sms', reach: 'texts-only' }],
    ['that both ways are open', known, { reach: 'both', channel: 'sms' }, { channel: 'sms', reach: 'both' }],
    ['somebody else', undefined, { receiver: OTHER }, { detail: 'discreet' }],
    ['somebody else, and how open', undefined, { receiver: { ...OTHER, fullDetail: true } }, { detail: 'full' }],
    ['nothing, of a known receiver', { ...known, receiver }, {}, { receiver, detail: 'discreet' }],
    [
      'the patient again',
      { ...known, receiver },
      { receiver: null, detail: 'full' },
      { receiver: null, detail: 'full' },
    ],
    [
      'the same person, by other spaces',
      { ...known, receiver },
      { receiver: { ...OTHER, name: ' Bo  Fenwick' } },
      { receiver },
    ],
  ])('%s', (_what, before, told, expected) => {
    expect(howReached(before, told, NOW)).toMatchObject(expected)
  })

  it.each<[string, HowReached | undefined, ToldReach, string]>([
    ['a text to a landline', undefined, { reach: 'calls-only', channel: 'sms' }, 'patient.channel'],
    ['a text to a landline known before', known, { channel: 'sms' }, 'patient.channel'],
    ['a call that is not heard', undefined, { reach: 'texts-only', channel: 'voice' }, 'patient.channel'],
    ['all of it to somebody else', undefined, { receiver: OTHER, detail: 'full' }, 'patient.detail'],
    ['all of it to a receiver of before', { ...known, receiver }, { detail: 'full' }, 'patient.detail'],
  ])('%s is refused', (_what, before, told, field) => {
    const refused = (() => {
      try {
        howReached(before, told, NOW)
      } catch (error) {
        return (error as Failure).detail.field
      }
      return 'nothing'
    })()
    expect(refused).toBe(field)
  })

  it('another person who receives agrees anew; the same one goes on', () => {
    const next = howReached({ ...known, receiver }, { receiver: { ...OTHER, name: 'Cy Tarn' } }, NOW)
    expect(next.receiver).toMatchObject({ name: 'Cy Tarn', since: NOW.toISOString() })
  })

  it('a new number is no landline until that is said, but who does not hear stays so', () => {
    const patient = { phone: '+17825550101', reach: 'neither', receiver } as Patient
    const lifted = { wrongPersonLifted: NOW.toISOString() }
    expect(atNewNumber({ ...patient, ...lifted }, '+17825550102', NOW)).toMatchObject({
      ...{
        phone: '+17825550102',
        reach: 'texts-only',
        receiver,
        wrongPersonLifted: null,
        numberSince: NOW.toISOString(),
      },
    })
  })
})

describe('a minor by the clinic’s rule', () => {
  const GUARDIAN: MinorsRule = { below: 16, then: 'guardian' }
  const PERSON: MinorsRule = { below: 16, then: 'person' }
  const guardian = { relation: 'guardian', name: 'Bo', fullDetail: false, since: NOW.toISOString() } as const

  it.each([
    ['2010-03-20', '2026-03-19', 15],
    ['2010-03-20', '2026-03-20', 16],
    ['2008-02-29', '2026-02-28', 17],
    ['2008-02-29', '2026-03-01', 18],
  ])('born on %s is on %s %i years old', (born, on, years) => expect(ageOn(born, on)).toBe(years))

  it.each([
    ['no rule', { birthDate: '2012-01-01' }, null, null],
    ['no birth date', {}, GUARDIAN, null],
    ['of age at the visit', { birthDate: '2010-03-20' }, GUARDIAN, null],
    ['a day too young', { birthDate: '2010-03-21' }, GUARDIAN, 'guardian'],
    ['with a guardian', { birthDate: '2010-03-21', receiver: guardian }, GUARDIAN, null],
    [
      'with a partner',
      { birthDate: '2010-03-21', receiver: { ...guardian, relation: 'partner' } },
      GUARDIAN,
      'guardian',
    ],
    ['with a guardian, where a person tells', { birthDate: '2010-03-21', receiver: guardian }, PERSON, 'person'],
  ] as const)('%s', (_what, patient, rule, missing) => {
    expect(missingForMinor(patient, '2026-03-20', rule)).toBe(missing)
  })
})
