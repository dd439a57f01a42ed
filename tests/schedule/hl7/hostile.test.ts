import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { acksOf } from '../../../src/adapters/schedule/hl7/ack.ts'
import { parse } from '../../../src/adapters/schedule/hl7/parse.ts'
import { readMessage } from '../../../src/adapters/schedule/hl7/read-siu.ts'
import type { MessageRead } from '../../../src/domain/schedule/feed.ts'
import { bytes, FEED, msh, pid, sch, siu } from './messages.ts'

const OBX = 'OBX|1|DT|8665-2^LMP^LN||20260220||||||F|||20260301'
const VALID = [
  siu({ OBX }),
  siu({ MSH: msh('S13'), TQ1: 'TQ1|1||||||202603101030-0300|202603101050-0300' }),
  siu({ MSH: msh('S14', { 18: 'UNICODE UTF-8', 15: 'AL', 16: 'AL' }), PID: pid({ 5: 'M\\XC3A4\\bel^Zoë' }) }),
  siu({ MSH: msh('S15', { 12: '2.3' }), SCH: sch({ 25: 'Cancelled' }) }),
  siu({ MSH: msh('S23'), SCH: sch({ 11: '^^^202603120800^202603121200' }), PID: '' }),
  [msh('A31'), 'EVN|A31', pid({}), OBX].join('\r'),
  [msh('A40'), 'EVN|A40', pid({}), 'MRG|000199^^^SKERRY^MR', pid({ 3: '5' }), 'MRG|6'].join('\r'),
].map(bytes)

/** Pieces that mean something to a reader, and so may mislead it. */
const PIECES = [
  '|',
  '^',
  '~',
  '\\',
  '&',
  '\r',
  '\n',
  '""',
  '\\X',
  '\\XFF\\',
  'MSH|',
  '\rPID|',
  '\0',
  '\ufeff',
  '9'.repeat(30),
]
const piece = fc.oneof(fc.constantFrom(...PIECES).map(bytes), fc.uint8Array({ maxLength: 4 }))
const change = fc.record({ at: fc.nat(), drop: fc.integer({ min: 0, max: 12 }), put: piece })

const mutated = fc
  .tuple(fc.constantFrom(...VALID), fc.array(change, { minLength: 1, maxLength: 6 }))
  .map(([message, changes]) =>
    changes.reduce((now, { at, drop, put }) => {
      const from = at % (now.length + 1)
      return Uint8Array.from(Buffer.concat([now.slice(0, from), put, now.slice(from + drop)]))
    }, message),
  )

function readAny(message: Uint8Array): MessageRead {
  const found = parse(message, FEED.charset)
  if ('refusal' in found) {
    if (found.head) acksOf(found.head, found.refusal, { ids: ['1', '2'], at: new Date(0) })
    return found.refusal
  }
  const outcome = readMessage(found.message, FEED, { zones: {} })
  acksOf(found.message, 'ack' in outcome ? outcome : 'AA', { ids: ['1', '2'], at: new Date(0) })
  return outcome
}

function expectSound(outcome: MessageRead): void {
  if ('ack' in outcome) {
    expect(['AE', 'AR']).toContain(outcome.ack)
    expect(outcome.why).toMatch(/\.$/)
    return
  }
  expect(outcome.news.length).toBeGreaterThan(0)
  for (const { visit, patient, key, madeAt, times } of outcome.news) {
    for (const at of [visit?.startsAt, madeAt, ...(times ?? []).flatMap(({ from, to }) => [from, to])])
      if (at) expect(at.getTime()).not.toBeNaN()
    if (key) expect(key.id).not.toBe('')
    expect(patient?.name ?? '').not.toContain('\ufffd')
    if (patient?.birthDate) expect(patient.birthDate).toMatch(/^\d{4}-\d{2}-\d{2}$/)
    if (visit?.minutes) expect(visit.minutes).toBeLessThanOrEqual(1_440)
  }
}

// Common practice (fuzzing), no source: whatever comes, it is read or refused, and never thrown at the connection.
describe('whatever is sent', () => {
  it('is read or refused: 5,000 messages with faults', () => {
    const seen = { read: 0, refused: 0 }
    fc.assert(
      fc.property(mutated, (message) => {
        const outcome = readAny(message)
        expectSound(outcome)
        seen['ack' in outcome ? 'refused' : 'read']++
      }),
      { numRuns: 5_000, seed: 8 },
    )
    // Both ways were gone.
    expect(Math.min(seen.read, seen.refused)).toBeGreaterThan(300)
  })

  it('is read or refused: 1,000 heaps of bytes behind a head', () => {
    const heap = fc.uint8Array({ maxLength: 300 }).map((tail) => Uint8Array.from([...bytes('MSH|^~\\&|'), ...tail]))
    fc.assert(
      fc.property(fc.oneof(heap, fc.uint8Array({ maxLength: 300 })), (message) => expectSound(readAny(message))),
      { numRuns: 1_000 },
    )
  })

  it.each([
    ['many fields', `${msh('S12')}\rPID${'|'.repeat(500_000)}`],
    ['many repetitions', siu({ PID: pid({ 3: '~'.repeat(500_000), 13: '~1'.repeat(100_000) }) })],
    ['many escapes', siu({ PID: pid({ 5: '\\'.repeat(300_000) }) })],
    ['a long run of bytes', siu({ PID: pid({ 5: `\\X${'41'.repeat(500_000)}\\^Ines` }) })],
    ['many segments', siu({ MORE: 'AIL|1||X^Y\r'.repeat(50_000) })],
    ['a long number', siu({ PID: pid({ 13: `${'1 '.repeat(200_000)}^PRN^CP` }) })],
    ['a long time', siu({ SCH: sch({ 11: `^^^${'2'.repeat(500_000)}` }) })],
  ])('with %s ends soon', (_what, message) => {
    const started = performance.now()
    expectSound(readAny(bytes(message)))
    // It hangs for minutes where the time grows with the square of the size.
    expect(performance.now() - started).toBeLessThan(20_000)
  })
})
