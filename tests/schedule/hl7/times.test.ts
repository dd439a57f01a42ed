import { describe, expect, it } from 'vitest'
import { dayOf, instantOf, isExact, readDtm, zoneDoubt } from '../../../src/adapters/schedule/hl7/times.ts'
import { msh, newsOf, sch, siu } from './messages.ts'

const HALIFAX = 'America/Halifax'
const iso = (written: string, zone = HALIFAX) => instantOf(readDtm(written)!, zone).at.toISOString()

// DTM: HL7 v2.5.1 ch. 2.A.22, YYYY[MM[DD[HH[MM[SS[.S[S[S[S]]]]]]]]][+/-ZZZZ]. Times are invented.
describe('a time', () => {
  it.each([
    ['2026', 'year', '2026-01-01T00:00:00', null],
    ['202603', 'month', '2026-03-01T00:00:00', null],
    ['20260310', 'day', '2026-03-10T00:00:00', null],
    ['2026031010', 'hour', '2026-03-10T10:00:00', null],
    ['202603101030', 'minute', '2026-03-10T10:30:00', null],
    ['20260310103045', 'second', '2026-03-10T10:30:45', null],
    ['20260310103045.1234-0330', 'second', '2026-03-10T10:30:45', -210],
    ['202603101030+0545', 'minute', '2026-03-10T10:30:00', 345],
    ['202603101030-0000', 'minute', '2026-03-10T10:30:00', 0],
    ['2026-0400', 'year', '2026-01-01T00:00:00', -240],
  ])('%s is told to the %s', (written, precision, local, offset) => {
    expect(readDtm(written)).toEqual({ precision, local, offset })
  })

  it.each([
    '',
    '202',
    '20260',
    '20260230',
    '20261301',
    '2026031024',
    '202603101060',
    '20260310103060',
    '20260310103045.',
    '20260310103045.12345',
    '202603101030+1',
    '202603101030+1500',
    '202603101030+0060',
    '2026-03-10T10:30',
    '202603101030Z',
  ])('"%s" is none', (written) => {
    expect(readDtm(written)).toBeNull()
  })

  it('of a day has a date as it was written, whatever its offset', () => {
    expect(['2026', '202603', '20260310', '20260310233000-1000'].map((one) => dayOf(readDtm(one)!))).toEqual([
      null,
      null,
      '2026-03-10',
      '2026-03-10',
    ])
    expect(['20260310', '2026031010', '202603101030'].map((one) => isExact(readDtm(one)!))).toEqual([
      false,
      false,
      true,
    ])
  })

  // Offsets of Halifax: IANA time zone database (-0400, from 8 March 2026 -0300).
  it('is that of its own offset, else of the clocks of the zone', () => {
    expect(iso('20260310103000')).toBe('2026-03-10T13:30:00.000Z')
    expect(iso('20260306103000')).toBe('2026-03-06T14:30:00.000Z')
    expect(iso('20260310103000-0400')).toBe('2026-03-10T14:30:00.000Z')
  })

  it('that the clocks repeat or skip is read as RFC 5545 §3.3.5 prints it', () => {
    expect(iso('20071104013000', 'America/New_York')).toBe('2007-11-04T05:30:00.000Z')
    expect(iso('20070311023000', 'America/New_York')).toBe('2007-03-11T07:30:00.000Z')
  })
})

describe("the sender's own clock", () => {
  it.each([
    ['20260302090000-0400', null],
    ['20260310090000-0300', null],
    ['20260310090000', null],
    ['20260310', null],
    ['20260310090000-0400', 'MSH-7'],
    ['20260302090000-0330', 'MSH-7'],
  ])('%s agrees with Halifax or is a doubt', (made, doubt) => {
    if (doubt === null) expect(zoneDoubt(readDtm(made), HALIFAX)).toBeNull()
    else expect(zoneDoubt(readDtm(made), HALIFAX)).toContain(doubt)
  })

  it('never decides: sent before the change of the clocks for a visit beyond it, without a doubt', () => {
    const { visit, doubts } = newsOf(siu({ MSH: msh('S12', { 7: '20260302090000-0400' }) }))
    expect(visit!.startsAt).toEqual(new Date('2026-03-10T13:30:00Z'))
    expect(doubts).toEqual([])
  })

  it('shows a zone that is described wrongly', () => {
    expect(newsOf(siu(), { zone: 'America/Toronto' }).doubts.join()).toContain('MSH-7 has another offset')
  })
})

describe('the zone of a visit', () => {
  it("is its clinic's, where its place says which that is, else the feed's", () => {
    const start = (zones: Record<string, string>, clinics: Record<string, string>) =>
      (newsOf(siu(), { clinics }, zones).visit!.startsAt as Date).toISOString()
    expect(start({ harbour: 'America/St_Johns' }, { GYN1: 'harbour' })).toBe('2026-03-10T13:00:00.000Z')
    expect(start({ harbour: 'America/St_Johns' }, { '*': 'harbour' })).toBe('2026-03-10T13:00:00.000Z')
    expect(start({ harbour: 'America/St_Johns' }, { OTHER: 'harbour' })).toBe('2026-03-10T13:30:00.000Z')
  })

  it('shows twice or skips a time: a doubt', () => {
    const at = (time: string) => newsOf(siu({ SCH: sch({ 11: `^^^${time}` }) }))
    expect(at('20261101013000').visit!.startsAt).toEqual(new Date('2026-11-01T04:30:00Z'))
    expect(at('20261101013000').doubts.join()).toContain('twice')
    expect(at('20260308023000').doubts.join()).toContain('skip')
    expect(at('20260310000000').doubts.join()).toContain('midnight')
  })
})
