import { describe, expect, it } from 'vitest'
import { msh, newsOf, pid, refusalOf, sch, siu } from './messages.ts'

// Fields by position: HL7 v2.5.1 ch. 10 (SCH, AIS, AIL, AIP), ch. 4 (TQ1). Messages are invented.
const TIME = new Date('2026-03-10T13:30:00Z')

describe('a booking', () => {
  it('is read whole', () => {
    expect(newsOf(siu())).toEqual({
      sender: 'SKERRYPAS/SKERRY',
      messageId: 'C0001',
      event: 'booked',
      key: { id: 'F200', namespace: 'SKERRY', occurrence: '' },
      madeAt: new Date('2026-03-02T13:00:00Z'),
      sequence: null,
      visit: {
        startsAt: TIME,
        minutes: 20,
        places: ['3', 'GYN1', 'SKERRY'],
        clinicians: ['N17'],
        types: ['PAP', 'Cervical screening'],
        status: 'Booked',
        consent: undefined,
      },
      patient: {
        ids: [{ value: '007431', authority: 'SKERRY', type: 'MR' }],
        name: 'Ines Mabel',
        phones: [{ number: '9025550142', kind: 'mobile' }],
        email: undefined,
        birthDate: '1991-07-04',
        language: 'en',
        died: undefined,
        lmp: undefined,
      },
      doubts: [],
    })
  })

  it.each(['2.3', '2.3.1', '2.4', '2.5', '2.5.1', '2.6', '2.7', '2.7.1', '2.8', '2.8.2'])(
    'of version %s',
    (version) => {
      const { visit, doubts } = newsOf(siu({ MSH: msh('S12', { 9: 'SIU^S12', 12: version }) }))
      expect(visit!.startsAt).toEqual(TIME)
      expect(doubts).toEqual([])
    },
  )

  it('has the key that the feed names, sign for sign, with namespace and occurrence', () => {
    const message = siu({ SCH: sch({ 1: '00p1^Pas', 2: 'f9^^2.16.840.1.113883.19.5^ISO', 3: '4' }) })
    expect(newsOf(message).key).toEqual({ id: 'f9', namespace: '2.16.840.1.113883.19.5', occurrence: '4' })
    expect(newsOf(message, { key: 'placer' }).key).toEqual({ id: '00p1', namespace: 'Pas', occurrence: '4' })
    expect(refusalOf(siu({ SCH: sch({ 2: '' }) }))).toMatchObject({ ack: 'AE', code: 101, at: 'SCH^1^2' })
    expect(refusalOf(siu({ SCH: sch({ 1: '""' }) }), { key: 'placer' })).toMatchObject({ at: 'SCH^1^1' })
  })
})

describe('when', () => {
  const at = (time: string) => `^^^${time}`
  const tq1 = (time: string) => `TQ1|1||||||${time}`
  const ais = (time: string, offset = '') => `AIS|1|A|PAP|${time}|${offset}|min`

  it.each([
    ['TQ1-7', { TQ1: tq1('202603101100'), SCH: sch({ 11: at('202603101030') }) }, '14:00', true],
    ['SCH-11', { SCH: sch({ 11: at('202603101030') }), AIS: ais('202603101045') }, '13:30', true],
    ['AIS-4', { SCH: sch({ 11: '' }), AIS: ais('202603101045') }, '13:45', false],
    ['AIL-6', { SCH: sch({ 11: '' }), AIL: 'AIL|1|A|GYN1^3|||202603101015' }, '13:15', false],
    ['AIP-6', { SCH: sch({ 11: '' }), AIP: 'AIP|1|A|N17|||202603101020' }, '13:20', false],
    ['all the same', { TQ1: tq1('202603101030'), AIS: ais('20260310103000-0300') }, '13:30', false],
    // AIS-5 is the distance of a service from the visit's beginning (hl7.eu, v2.8.2: "bezogen auf SCH-11").
    ['a service that begins later', { AIS: ais('202603101045', '15') }, '13:30', false],
    ['a TQ1 that is no time', { TQ1: tq1('soon') }, '13:30', false],
  ])('%s', (_where, parts, time, differs) => {
    const { visit, doubts } = newsOf(siu(parts))
    expect(visit!.startsAt).toEqual(new Date(`2026-03-10T${time}:00Z`))
    expect(doubts.some((doubt) => doubt.includes('more than one time'))).toBe(differs)
  })

  it('is the first of several services', () => {
    const message = siu({ SCH: sch({ 11: '' }), AIS: ais('202603101045'), MORE: 'AIS|2|A|X|202603101030' })
    expect(newsOf(message).visit!.startsAt).toEqual(TIME)
  })

  it('is missing or unreadable: a booking and a move are refused, a cancellation is not', () => {
    const none = { SCH: sch({ 11: '' }) }
    const part = { SCH: sch({ 11: at('20260310') }) }
    expect(refusalOf(siu(none))).toMatchObject({ ack: 'AE', code: 101, at: 'SCH^1^11' })
    expect(refusalOf(siu({ ...none, MSH: msh('S13') }))).toMatchObject({ code: 101 })
    for (const event of ['S12', 'S13', 'S14'])
      expect(refusalOf(siu({ ...part, MSH: msh(event) }))).toMatchObject({ ack: 'AE', code: 102, at: 'SCH^1^11' })
    expect(newsOf(siu({ ...none, MSH: msh('S14') })).visit!.startsAt).toBeUndefined()
    expect(newsOf(siu({ SCH: sch({ 11: at('""'), 25: '' }), MSH: msh('S14') })).visit!.startsAt).toBeNull()
    const cancelled = newsOf(siu({ ...part, MSH: msh('S15') }))
    expect(cancelled.event).toBe('cancelled')
    expect(cancelled.doubts.join()).toContain('SCH^1^11 is no time to the minute')
  })
})

describe('how long', () => {
  it.each([
    ['20', 'min', 20],
    ['20', '', 20],
    ['20', 'm', 20],
    ['20', 'MIN^minutes', 20],
    ['1800', 's', 30],
    ['1', 'h', 60],
    ['0.5', 'hr', 30],
  ])('%s %s', (number, units, minutes) => {
    expect(newsOf(siu({ SCH: sch({ 9: number, 10: units, 11: '^^^202603101030' }) })).visit!.minutes).toBe(minutes)
  })

  it.each([
    ['0', 'min'],
    ['-20', 'min'],
    ['20', 'fortnights'],
    ['twenty', 'min'],
    ['1441', 'min'],
  ])('not %s %s: a doubt, and the end counts', (number, units) => {
    const { visit, doubts } = newsOf(siu({ SCH: sch({ 9: number, 10: units, 11: '^^^202603101030^202603101045' }) }))
    expect(visit!.minutes).toBe(15)
    expect(doubts.join()).toContain('SCH-9 is no length')
  })

  it('until the end that is told, else as the service', () => {
    const bare = { SCH: sch({ 9: '', 10: '', 11: '^^^202603101030' }) }
    expect(newsOf(siu({ ...bare, TQ1: 'TQ1|1||||||202603101030|202603101110' })).visit!.minutes).toBe(40)
    expect(newsOf(siu({ ...bare, AIS: 'AIS|1|A|PAP|||| 25|min' })).visit!.minutes).toBe(25)
    expect(newsOf(siu(bare)).visit!.minutes).toBeUndefined()
    expect(newsOf(siu({ SCH: sch({ 9: '""' }) })).visit!.minutes).toBeNull()
    const backwards = newsOf(siu({ SCH: sch({ 9: '', 11: '^^^202603101030^202603101000' }) }))
    expect(backwards.visit!.minutes).toBeUndefined()
    expect(backwards.doubts.join()).toContain('not within a day')
  })
})

describe('where, by whom and what', () => {
  it('tells every code of every place, the nearest first', () => {
    const message = siu({ AIL: 'AIL|1|A|GYN1^3^^SKERRY&1.2.3&ISO~GYN1^4', MORE: 'AIL|2|A|RDG' })
    expect(newsOf(message).visit!.places).toEqual(['3', 'GYN1', 'SKERRY', '4', 'RDG'])
  })

  it('tells clinicians by id, else by family name', () => {
    expect(newsOf(siu({ AIP: 'AIP|1|A|N17^Okoro~^Haas^Ada' })).visit!.clinicians).toEqual(['N17', 'Haas'])
  })

  it('tells all codes of the kind of visit before its words', () => {
    const message = siu({
      SCH: sch({ 7: 'ROUTINE^Routine', 8: 'GEN^General^L^PAPX^Smear^M' }),
      AIS: 'AIS|1|A|HPVC^By the clinician^L',
    })
    expect(newsOf(message).visit!.types).toEqual([
      'GEN',
      'PAPX',
      'ROUTINE',
      'HPVC',
      'General',
      'Smear',
      'Routine',
      'By the clinician',
    ])
  })

  // HL7 table 0206: A add, D delete, U update, X no change.
  it('takes segments as changes where AI*-2 or RGS-2 say so', () => {
    const message = siu({
      MSH: msh('S14'),
      SCH: sch({ 11: '' }),
      RGS: 'RGS|1|U',
      AIS: 'AIS|1|X|PAP',
      AIL: 'AIL|1|D|RDG^1|||202603090900\rAIL|2|A|GYN1^3|||202603101030',
      AIP: 'AIP|1|D|N17\rAIP|2|U|N18',
      MORE: 'RGS|2|D\rAIS|3||HPVC|202603080900\rAIP|3||N19',
    })
    const { visit } = newsOf(message)
    expect([visit!.places, visit!.clinicians, visit!.types]).toEqual([['3', 'GYN1'], ['N18'], ['PAP']])
    expect(visit!.startsAt).toEqual(TIME)
  })

  it('takes segments out of order, or without RGS, with a doubt', () => {
    const { visit, doubts } = newsOf(siu({ RGS: '', AIS: '', AIL: 'AIL|1|A|GYN1', MORE: 'AIS|1|A|PAP' }))
    expect([visit!.places, visit!.types]).toEqual([['GYN1'], ['PAP']])
    expect(doubts).toEqual(['There is no RGS segment before the resources.', 'AIL stands before AIS.'])
  })

  it('reads consent only where the feed says that it is told', () => {
    const message = (value: string) => siu({ MORE: `ZCN|1|${value}` })
    const consent = { field: 'ZCN-2', yes: ['Y', 'SMS'] }
    expect(newsOf(message('Y')).visit!.consent).toBeUndefined()
    expect(['Y', 'SMS', 'N', '""', ''].map((value) => newsOf(message(value), { consent }).visit!.consent)).toEqual([
      true,
      true,
      false,
      null,
      undefined,
    ])
  })

  it('never takes the notes', () => {
    const secret = 'says that the patient is afraid'
    expect(JSON.stringify(newsOf(siu({ MORE: `NTE|1||${secret}` })))).not.toContain('afraid')
  })

  it('says that there are several times, or several patients', () => {
    expect(newsOf(siu({ SCH: sch({ 11: '^^^202603101030~^^^202603171030' }) })).doubts.join()).toContain('several')
    expect(refusalOf(siu({ MORE: pid({ 3: '2^^^SKERRY^MR' }) }))).toMatchObject({ ack: 'AE', code: 198, at: 'PID' })
    expect(refusalOf(siu({ MORE: sch({ 2: 'F201' }) }))).toMatchObject({ ack: 'AE', code: 198, at: 'SCH' })
  })
})
