import { describe, expect, it } from 'vitest'
import { msh, newsOf, pid, read, refusalOf, sch, segment, siu } from './messages.ts'

// Events: HL7 table 0003. Errors: table 0357. Acknowledgements: table 0008. Messages are invented.
const withStatus = (status: string, event = 'S12') => siu({ MSH: msh(event), SCH: sch({ 25: status }) })

describe('the event', () => {
  it.each([
    ['S12', 'booked'],
    ['S13', 'moved'],
    ['S14', 'changed'],
    ['S15', 'cancelled'],
    ['S16', 'series-ended'],
    ['S17', 'entered-in-error'],
    ['S26', 'no-show'],
  ])('%s is %s', (event, meant) => {
    expect(newsOf(siu({ MSH: msh(event), SCH: sch({ 25: '' }) })).event).toBe(meant)
  })

  it.each(['S15', 'S16', 'S17', 'S26'])('%s needs no patient', (event) => {
    expect(newsOf(siu({ MSH: msh(event), PID: '' })).patient).toBeNull()
    expect(refusalOf(siu({ PID: '' }))).toMatchObject({ ack: 'AE', code: 100, at: 'PID' })
  })
})

describe('the status', () => {
  // HL7 "Version 2 to FHIR" 1.0.0 (STU 1), Table HL70278 to Appointmentstatus: the FHIR code of each; and ours for that.
  const OURS = { 'checked-in': 'arrived', fulfilled: 'arrived', cancelled: 'cancelled', noshow: 'no-show' } as const
  it.each([
    ['Started', OURS['checked-in']],
    ['Complete', OURS.fulfilled],
    ['Cancelled', OURS.cancelled],
    ['Deleted', 'entered-in-error'],
    ['Noshow', OURS.noshow],
  ])('%s of a booking or a change is %s, in capitals too', (status, meant) => {
    for (const event of ['S12', 'S13', 'S14'])
      for (const written of [status, status.toUpperCase()]) {
        const { event: read, doubts } = newsOf(withStatus(written, event))
        expect(read).toBe(meant)
        expect(doubts.join()).toContain('the status counts')
      }
  })

  it.each(['Booked', 'BOOKED', 'Pending', ''])('"%s" leaves the event as it is', (status) => {
    expect(newsOf(withStatus(status, 'S13'))).toMatchObject({ event: 'moved', doubts: [] })
  })

  it('Overbook is told with the visit', () => {
    expect(newsOf(withStatus('Overbook'))).toMatchObject({ event: 'booked', visit: { overbooked: true } })
  })

  // The map has none for Discontinued and Blocked; a waiting list is no visit. Judgement, no source.
  it.each(['Waitlist', 'Discontinued', 'DC', 'BLOCKED'])('%s is of no visit here: a person looks', (status) => {
    expect(refusalOf(withStatus(status))).toMatchObject({ ack: 'AE', code: 103, at: 'SCH^1^25' })
    expect(newsOf(withStatus(status), { statuses: { [status]: 'cancelled' } }).event).toBe('cancelled')
  })

  // "Scheduled" stands in samples that vendors publish, and not in table 0278.
  it.each(['Scheduled', 'ZZ', 'constructor', '__proto__'])(
    '%s is not known: it changes nothing, with a doubt',
    (status) => {
      for (const [event, meant] of [
        ['S12', 'booked'],
        ['S14', 'changed'],
        ['S15', 'cancelled'],
      ] as const) {
        const news = newsOf(withStatus(status, event))
        expect(news.event).toBe(meant)
        expect(news.doubts.join()).toContain('nobody here knows')
      }
    },
  )

  it("is the feed's first", () => {
    const statuses = { scheduled: 'booked', NS: 'no-show', Complete: 'booked', S16: 'cancelled' } as const
    expect(newsOf(withStatus('Scheduled', 'S13'), { statuses })).toMatchObject({ event: 'moved', doubts: [] })
    expect(newsOf(withStatus('ns', 'S14'), { statuses }).event).toBe('no-show')
    expect(newsOf(withStatus('Complete'), { statuses }).event).toBe('booked')
    expect(newsOf(withStatus('', 'S16'), { statuses }).event).toBe('cancelled')
  })

  it('never takes an ending back', () => {
    for (const status of ['Booked', 'Started', 'NEW']) {
      const news = newsOf(withStatus(status, 'S15'), { statuses: { NEW: 'booked' } })
      expect(news.event).toBe('cancelled')
      expect(news.doubts.join()).toContain('contradicts the event')
    }
    expect(newsOf(withStatus('Deleted', 'S15')).event).toBe('entered-in-error')
    expect(newsOf(withStatus('Noshow', 'S15')).event).toBe('no-show')
  })
})

describe('the diary', () => {
  const closed = (parts: Parameters<typeof siu>[0] = {}) =>
    siu({
      MSH: msh('S23'),
      SCH: sch({ 9: '', 10: '', 11: '^^^202603120800^202603121200', 25: 'Blocked' }),
      PID: '',
      AIS: '',
      ...parts,
    })
  const span = { from: new Date('2026-03-12T11:00:00Z'), to: new Date('2026-03-12T15:00:00Z') }

  it('is closed or opened: times with place and person, no visit, no patient', () => {
    const news = newsOf(closed())
    expect(news).toMatchObject({ event: 'times-closed', key: null, visit: null, patient: null, doubts: [] })
    expect(news.times).toEqual([{ ...span, place: 'GYN1', clinician: 'N17' }])
    expect(newsOf(closed({ MSH: msh('S24') })).event).toBe('times-opened')
  })

  it('has an entry for each place and person of a group, each place at its own time', () => {
    const { times } = newsOf(
      closed({
        AIL: 'AIL|1|A|GYN1^3\rAIL|2|A|RDG^1|||202603121300|||2|h',
        AIP: 'AIP|1|A|N17~N18',
        MORE: 'RGS|2|A\rAIP|1|A|N19',
      }),
    )
    const later = { from: new Date('2026-03-12T16:00:00Z'), to: new Date('2026-03-12T18:00:00Z') }
    expect(times).toEqual([
      { ...span, place: 'GYN1', clinician: 'N17' },
      { ...span, place: 'GYN1', clinician: 'N18' },
      { ...later, place: 'RDG', clinician: 'N17' },
      { ...later, place: 'RDG', clinician: 'N18' },
      { ...span, place: '', clinician: 'N19' },
    ])
  })

  it('needs a beginning and an end after it', () => {
    expect(newsOf(closed({ SCH: sch({ 9: '4', 10: 'h', 11: '^^^202603120800' }) })).times![0]).toMatchObject(span)
    expect(refusalOf(closed({ SCH: sch({ 9: '', 11: '^^^202603120800' }) }))).toMatchObject({ ack: 'AE', code: 101 })
    expect(refusalOf(closed({ SCH: sch({ 11: '' }) }))).toMatchObject({ ack: 'AE', code: 101 })
    expect(refusalOf(closed({ SCH: sch({ 11: '^^^202603120800^202603120700' }) }))).toMatchObject({ code: 102 })
  })
})

describe('people', () => {
  const adt = (event: string, ...more: string[]) => [msh(event), `EVN|${event}`, ...more].join('\r')
  const mrg = 'MRG|000199^^^SKERRY^MR~88^^^OLD^PI'

  it.each(['A08', 'A28', 'A31'])('%s is news of a patient alone', (event) => {
    expect(newsOf(adt(event, pid({})))).toMatchObject({
      event: 'patient',
      key: null,
      visit: null,
      patient: { name: 'Ines Mabel', ids: [{ value: '007431' }] },
    })
  })

  it('takes the event from EVN where MSH-9 has none', () => {
    expect(newsOf([msh('A08', { 9: 'ADT' }), 'EVN|A31', pid({})].join('\r')).event).toBe('patient')
  })

  // ADT_A39 (ch. 3.3.40): PID is who stays, MRG-1 is who is no more.
  it('A40 merges the old ids into the new', () => {
    expect(newsOf(adt('A40', pid({}), mrg))).toMatchObject({
      event: 'patients-merged',
      patient: { ids: [{ value: '007431', authority: 'SKERRY', type: 'MR' }] },
      mergedIds: [
        { value: '000199', authority: 'SKERRY', type: 'MR' },
        { value: '88', authority: 'OLD', type: 'PI' },
      ],
    })
  })

  it('A40 may hold several merges: each is news with an id of its own', () => {
    const outcome = read(adt('A40', pid({}), mrg, pid({ 3: '5' }), 'MRG|6'))
    expect(outcome).toMatchObject({
      news: [
        { messageId: 'C0001', patient: { ids: [{ value: '007431' }] }, mergedIds: [{ value: '000199' }, {}] },
        { messageId: 'C0001/2', patient: { ids: [{ value: '5' }] }, mergedIds: [{ value: '6' }] },
      ],
    })
  })

  it.each([
    ['no PID', adt('A31'), 100, 'PID'],
    ['no id', adt('A31', pid({ 3: '' })), 101, 'PID^1^3'],
    ['no PID to merge', adt('A40'), 100, 'PID'],
    ['no MRG', adt('A40', pid({})), 100, 'MRG'],
    ['no old id', adt('A40', pid({}), 'MRG|'), 101, 'MRG^1^1'],
  ])('%s is refused', (_what, message, code, at) => {
    expect(refusalOf(message)).toMatchObject({ ack: 'AE', code, at })
  })
})

describe('a message that is not for us', () => {
  it.each([
    ['another type', { 9: 'ORU^R01' }, 'AR', 200, 'MSH^1^9'],
    ['an acknowledgement', { 9: 'ACK^S12' }, 'AR', 200, 'MSH^1^9'],
    ['no type', { 9: '' }, 'AR', 200, 'MSH^1^9'],
    ['a name of JavaScript', { 9: 'constructor^name' }, 'AR', 200, 'MSH^1^9'],
    ['another event', { 9: 'SIU^S18' }, 'AR', 201, 'MSH^1^9'],
    ['an event of another type', { 9: 'ADT^S12' }, 'AR', 201, 'MSH^1^9'],
    ['a test', { 11: 'T' }, 'AR', 202, 'MSH^1^11'],
    ['a try', { 11: 'D' }, 'AR', 202, 'MSH^1^11'],
    ['another version', { 12: '3.0' }, 'AR', 203, 'MSH^1^12'],
    ['no control id', { 10: '' }, 'AE', 101, 'MSH^1^10'],
    ['no processing id', { 11: '' }, 'AE', 101, 'MSH^1^11'],
  ])('%s', (_what, fields, ack, code, at) => {
    expect(refusalOf(siu({ MSH: segment('MSH', fields as Record<number, string>) }))).toMatchObject({ ack, code, at })
  })

  it('is one marked as a test only where real patients are', () => {
    expect(newsOf(siu({ MSH: msh('S12', { 11: 'T' }) }), { production: false }).event).toBe('booked')
  })

  it.each(['ZZTEST^Ann', 'zztest-two^Bea', 'Mabel^Ines~ZZTest^Ines'])(
    'has a patient who does not exist: %s',
    (name) => {
      expect(refusalOf(siu({ PID: pid({ 5: name }) }))).toMatchObject({ ack: 'AR', code: 202, at: 'PID^1^5' })
    },
  )

  it('is not one whose name only holds such a word, nor any where the site names none', () => {
    expect(newsOf(siu({ PID: pid({ 5: 'Mabel^ZZTEST' }) })).event).toBe('booked')
    expect(newsOf(siu(), { testNames: [''] }).event).toBe('booked')
  })

  it('says nothing of the patient in any refusal', () => {
    const secrets = /Mabel|Ines|007431|5550142|1991/
    for (const parts of [
      { SCH: '' },
      { SCH: sch({ 2: '' }) },
      { PID: pid({ 3: '' }) },
      { PID: pid({ 5: 'ZZTEST^Ines' }) },
    ])
      expect(JSON.stringify(refusalOf(siu(parts)))).not.toMatch(secrets)
  })

  it('tells which version was doubtful, and reads it', () => {
    for (const version of ['2.2', '2.9', ''])
      expect(newsOf(siu({ MSH: msh('S12', { 12: version }) })).doubts.join()).toContain('MSH-12')
  })

  it('says who sent it, and when, where it does', () => {
    const bare = newsOf(siu({ MSH: msh('S12', { 3: '^1.2.3^ISO', 4: '', 7: '20260302' }) }))
    expect(bare).toMatchObject({ sender: '1.2.3', madeAt: null })
    expect(bare.doubts.join()).toContain('order of arrival')
  })
})
