import { describe, expect, it } from 'vitest'
import { acksOf, type Outcome } from '../../../src/adapters/schedule/hl7/ack.ts'
import { get, parse, segmentOf, type Hl7Message } from '../../../src/adapters/schedule/hl7/parse.ts'
import { msh, parsed, refusalOf, siu } from './messages.ts'

// HL7 v2.5.1 ch. 2.9 (original and enhanced mode), 2.14 (MSA, ERR), tables 0008, 0155, 0357. Messages are invented.
const AT = new Date('2026-03-02T13:00:05Z')
const REFUSED: Outcome = { ack: 'AE', code: 101, at: 'SCH^1^11', why: 'Nothing says when | the visit begins.' }
const REJECTED: Outcome = { ack: 'AR', code: 202, at: 'MSH^1^11', why: 'No message of production.' }

function acks(message: Hl7Message, outcome: Outcome = 'AA'): Hl7Message[] {
  return acksOf(message, outcome, { ids: ['D1', 'D2'], at: AT }).map((bytes) => parsed(bytes))
}
const codes = (fields: Record<number, string>, outcome: Outcome = 'AA') =>
  acks(parsed(siu({ MSH: msh('S12', fields) })), outcome).map((one) => get(segmentOf(one, 'MSA'), 1))

describe('an acknowledgement', () => {
  it('goes back to where the message came from, with its control id', () => {
    const [bytes] = acksOf(parsed(siu()), 'AA', { ids: ['D1', 'D2'], at: AT })
    expect(Buffer.from(bytes!).toString()).toBe(
      'MSH|^~\\&|DAYSIX|SITE|SKERRYPAS|SKERRY|20260302130005+0000||ACK^S12^ACK|D1|P|2.5.1\rMSA|AA|C0001\r',
    )
  })

  it('says what is wrong, where, and in words for a person', () => {
    const [one] = acks(parsed(siu()), REFUSED)
    const err = segmentOf(one!, 'ERR')
    expect([1, 2, 3].map((part) => get(err, 2, 1, part))).toEqual(['SCH', '1', '11'])
    expect([1, 2, 3].map((part) => get(err, 3, 1, part))).toEqual(['101', 'Required field missing', 'HL70357'])
    expect([get(err, 4), get(err, 8)]).toEqual(['E', 'Nothing says when | the visit begins.'])
  })

  it('says so the old way to versions before 2.5', () => {
    const [one] = acks(parsed(siu({ MSH: msh('S12', { 12: '2.3' }) })), REFUSED)
    expect([1, 2, 3, 4].map((part) => get(segmentOf(one!, 'ERR'), 1, 1, part))).toEqual(['SCH', '1', '11', '101'])
    expect(get(segmentOf(one!, 'MSA'), 3)).toBe('Nothing says when | the visit begins.')
    expect(get(segmentOf(one!, 'MSH'), 12)).toBe('2.3')
  })

  it('says 2.5.1 to a version that nobody can read', () => {
    expect(get(acks(parsed(siu({ MSH: msh('S12', { 12: '3.0' }) })), REJECTED)[0]!.segments[0], 12)).toBe('2.5.1')
  })

  it('keeps names with their delimiters and letters', () => {
    const [one] = acks(parsed(siu({ MSH: msh('S12', { 3: 'Wäg\\T\\Co^1.2&3', 10: 'A\\S\\1' }) })))
    expect([get(one!.segments[0], 5), get(one!.segments[0], 5, 1, 2, 2)]).toEqual(['Wäg&Co', '3'])
    expect(get(segmentOf(one!, 'MSA'), 2)).toBe('A^1')
    expect(get(one!.segments[0], 18)).toBe('UNICODE UTF-8')
  })

  it('is in the usual delimiters, whatever those of the message', () => {
    const [one] = acks(parsed('MSH$%~\\&$A%1$B$C$D$20260302$$SIU%S12$77$P$2.5\rSCH$'))
    expect([get(one!.segments[0], 5), get(one!.segments[0], 5, 1, 2), get(segmentOf(one!, 'MSA'), 2)]).toEqual([
      'A',
      '1',
      '77',
    ])
  })
})

describe('which of them', () => {
  it('in original mode: one', () => {
    expect([codes({}), codes({}, REFUSED), codes({}, REJECTED)]).toEqual([['AA'], ['AE'], ['AR']])
  })

  it.each([
    ['AL', 'NE', ['CA'], ['CE'], ['CR']],
    ['AL', '', ['CA'], ['CE'], ['CR']],
    ['AL', 'AL', ['CA', 'AA'], ['CE'], ['CR']],
    ['NE', 'AL', ['AA'], ['AE'], ['AR']],
    ['NE', 'NE', [], [], []],
    ['ER', 'SU', ['AA'], ['CE'], ['CR']],
    ['SU', 'ER', ['CA'], ['AE'], ['AR']],
  ])('in enhanced mode, MSH-15 %s and MSH-16 "%s"', (accept, application, good, wrong, rejected) => {
    const fields = { 15: accept, 16: application }
    expect([codes(fields), codes(fields, REFUSED), codes(fields, REJECTED)]).toEqual([good, wrong, rejected])
  })

  it('two have two control ids', () => {
    const both = acks(parsed(siu({ MSH: msh('S12', { 15: 'AL', 16: 'AL' }) })))
    expect(both.map((one) => get(one.segments[0], 10))).toEqual(['D1', 'D2'])
  })

  it('never of an acknowledgement: two systems would never end', () => {
    const [own] = acks(parsed(siu()))
    expect(acks(own!)).toEqual([])
    expect(acks(parsed('MSH|^~\\&|A|||||||1\rMSA|AA|7'), REJECTED)).toEqual([])
  })
})

describe('a message that could be read in part', () => {
  it('is answered by its head', () => {
    const bytes = Uint8Array.from(Buffer.from(siu().replace('Mabel', 'M\u00e4bel'), 'latin1'))
    const found = parse(bytes, 'utf-8') as { refusal: Outcome; head: Hl7Message }
    const [one] = acks(found.head, found.refusal)
    expect([get(segmentOf(one!, 'MSA'), 1), get(segmentOf(one!, 'MSA'), 2)]).toEqual(['AE', 'C0001'])
    expect(get(segmentOf(one!, 'ERR'), 3)).toBe('102')
  })

  it('or refused whole, is told no patient', () => {
    const [one] = acks(parsed(siu({ SCH: '' })), refusalOf(siu({ SCH: '' })))
    expect(JSON.stringify(one)).not.toMatch(/Mabel|Ines|007431/)
  })
})
