import { execFileSync } from 'node:child_process'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { sourceOf } from '../../src/adapters/gateways/smpp/addresses.ts'
import { decodeGsm7, encodeGsm7 } from '../../src/adapters/gateways/smpp/alphabets.ts'
import { Occurrences } from '../../src/adapters/gateways/smpp/occurrences.ts'
import { encodePdu, Framer } from '../../src/adapters/gateways/smpp/pdu.ts'
import { canonicalId, readReceipt } from '../../src/adapters/gateways/smpp/receipts.ts'
import { segmentsOf } from '../../src/adapters/gateways/smpp/segments.ts'
import { readSmppConfig } from '../../src/adapters/gateways/smpp/smpp-config.ts'
import { refusal } from '../../src/adapters/gateways/smpp/status.ts'
import { validityPeriod } from '../../src/adapters/gateways/smpp/times.ts'
import type { Failure } from '../../src/domain/failure.ts'
import { measureSms, outsideGsm7 } from '../../src/domain/messages/texts/sms.ts'
import { present } from './peers/programs.ts'

const IDS = { accept: 'decimal', receipt: 'decimal' } as const

describe('the GSM alphabet', () => {
  const all = Array.from({ length: 0x2200 }, (_, code) => String.fromCharCode(code)).filter(
    (sign) => encodeGsm7(sign) !== undefined,
  )

  it('has the 137 signs that 3GPP TS 23.038 lists, the same that texts are measured by', () => {
    expect(all.length).toBe(137)
    expect(outsideGsm7(all.join(''))).toEqual([])
  })

  it('does not take what it cannot say', () => {
    for (const text of ['ç', 'a😀', '`', '’', '\u00a0', '\x1b']) expect(encodeGsm7(text)).toBeUndefined()
  })

  it('reads back whatever it wrote', () => {
    fc.assert(
      fc.property(
        fc.array(fc.constantFrom(...all)),
        (signs) => decodeGsm7(encodeGsm7(signs.join(''))!) === signs.join(''),
      ),
    )
  })

  it.skipIf(!present('perl', ['-MEncode', '-MEncode::GSM0338', '-e1']))('codes every sign as Perl does', () => {
    const script = 'use Encode; binmode STDIN, ":utf8"; local $/; print unpack "H*", encode("gsm0338", <STDIN>)'
    const signs = all.join('')
    expect(encodeGsm7(signs)!.toString('hex')).toBe(
      execFileSync('perl', ['-e', script], { input: signs, encoding: 'utf8' }),
    )
  })
})

describe('a text cut into segments', () => {
  const octets = (text: string, config: Parameters<typeof segmentsOf>[1]) =>
    segmentsOf(text, config, 7).map((fields) => [fields.data_coding, (fields.short_message as Buffer).length])

  it('is sent in UCS-2 where the peer’s own alphabet cannot say it', () => {
    expect(octets('Où? éê', { alphabet: 'latin1', long: 'udh' })).toEqual([[8, 12]])
    expect(octets('Où? é', { alphabet: 'latin1', long: 'udh' })).toEqual([[0, 5]])
    expect(octets('€'.repeat(80), { alphabet: 'latin1', long: 'udh' })).toEqual([
      [8, 6 + 134],
      [8, 6 + 26],
    ])
  })

  it('is sent in as many as were counted', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme', maxLength: 400 }), fc.boolean(), (text, plain) => {
        const said = plain ? text.replace(/[^\x20-\x5f]/g, '€') : text
        expect(segmentsOf(said, { alphabet: 'gsm7', long: 'udh' }, 7)).toHaveLength(measureSms(said).segments)
      }),
    )
  })

  it('never holds more than one short message can carry', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme', maxLength: 400 }), (text) => {
        for (const [coding, length] of octets(text, { alphabet: 'gsm7', long: 'udh' }))
          expect(length).toBeLessThanOrEqual(coding === 8 ? 140 : 160)
      }),
    )
  })
})

describe('times on the wire', () => {
  // SMPP 3.4 §7.1.1: YYMMDDhhmmsstnnp
  it.each([
    ['absolute', '2026-03-09T09:00:00Z', '260309090000000+'],
    ['relative', '2026-03-16T00:00:00Z', '000007000000000R'],
    ['relative', '2026-03-09T08:00:00Z', '000000080000000R'],
    ['relative', '2026-04-30T01:02:03Z', '000052010203000R'],
    ['relative', '2026-03-09T00:00:00.200Z', '000000000001000R'],
    ['none', '2026-03-09T09:00:00Z', ''],
  ] as const)('%s, until %s, is %s', (kind, until, expected) => {
    expect(validityPeriod(new Date(until), new Date('2026-03-09T00:00:00Z'), kind)).toBe(expected)
  })
})

describe('a receipt', () => {
  const text =
    'id:0169552910 sub:001 dlvrd:001 submit date:2603171200 done date:2603171201 stat:DELIVRD err:000 text:Your visit'

  it('is read whatever its letters’ case and its spacing', () => {
    const shouted = 'ID: 0169552910 STAT: undeliv ERR: 0x0b'
    expect(readReceipt({}, text, IDS)).toEqual({ ref: '169552910', state: 'delivered', code: '000' })
    expect(readReceipt({}, shouted, IDS)).toEqual({ ref: '169552910', state: 'undelivered', code: '0x0b' })
  })

  it.each([
    ['DELIVRD', 'delivered'],
    ['EXPIRED', 'undelivered'],
    ['DELETED', 'undelivered'],
    ['UNDELIV', 'undelivered'],
    ['REJECTD', 'undelivered'],
    ['ACCEPTD', 'pending'],
    ['ENROUTE', 'pending'],
    ['UNKNOWN', 'pending'],
  ])('with the state %s is %s', (stat, state) => {
    expect(readReceipt({}, text.replace('DELIVRD', stat), IDS)?.state).toBe(state)
  })

  it('is believed in its optional parameters first', () => {
    const tlvs = { receipted_message_id: '42\0', message_state: 5, network_error_code: Buffer.from([3, 0, 11]) }
    expect(readReceipt(tlvs, '', IDS)).toEqual({ ref: '42', state: 'undelivered', code: 'net-3-11' })
  })

  it('is nobody’s without an id, and cannot be led astray by the text it quotes', () => {
    expect(readReceipt({}, 'stat:DELIVRD', IDS)).toBeUndefined()
    expect(readReceipt({}, `${text} id:9 stat:REJECTD`, IDS)).toMatchObject({ ref: '169552910', state: 'delivered' })
  })

  it('finds its message though the peer counts in two bases', () => {
    expect(canonicalId('0A1B2C0E', 'hex')).toBe(canonicalId('0169552910', 'decimal'))
    expect(canonicalId('a1b2c0e', 'hex')).toBe(canonicalId('169552910', 'decimal'))
    expect(canonicalId('0007', 'text')).not.toBe(canonicalId('7', 'text'))
    expect(canonicalId('b3f1-77', 'decimal')).toBe('b3f1-77')
  })
})

describe('the same words again', () => {
  const [link, other] = [{}, {}]
  const seen = () => {
    let n = 0
    return new Occurrences(() => `key-${++n}`)
  }

  it('are the same text when the first was not acknowledged', () => {
    const occurrences = seen()
    expect(occurrences.keyOf('yes', link, 0)).toBe(occurrences.keyOf('yes', other, 60_000))
  })

  it('are another text when it was', () => {
    const occurrences = seen()
    const first = occurrences.keyOf('1', link, 0)
    occurrences.acknowledged('1', 5)
    expect(occurrences.keyOf('1', link, 20)).not.toBe(first)
  })

  it('are the same text when the connection was lost right after the acknowledgement, not when it was lost long after', () => {
    for (const [lostAt, same] of [
      [2_000, true],
      [20_000, false],
    ] as const) {
      const occurrences = seen()
      const first = occurrences.keyOf('1', link, 0)
      occurrences.acknowledged('1', 5)
      occurrences.lost(other, lostAt)
      occurrences.lost(link, lostAt)
      expect(occurrences.keyOf('1', other, lostAt + 100) === first).toBe(same)
    }
  })

  it('are another text after ten minutes', () => {
    const occurrences = seen()
    expect(occurrences.keyOf('1', link, 0)).not.toBe(occurrences.keyOf('1', link, 600_000))
  })
})

describe('a stream of octets', () => {
  it('is cut into the same PDUs however it is chopped', () => {
    const pdus = [
      encodePdu('enquire_link', 1),
      encodePdu('submit_sm', 2, { short_message: Buffer.from('Hi') }),
      encodePdu('unbind', 3),
    ]
    const stream = Buffer.concat(pdus)
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 1, max: 20 }), { minLength: 1 }), (sizes) => {
        const [framer, frames]: [Framer, Buffer[]] = [new Framer(), []]
        for (let at = 0, n = 0; at < stream.length; n++) {
          const size = sizes[n % sizes.length]!
          framer.cut(stream.subarray(at, at + size), (frame) => frames.push(frame))
          at += size
        }
        expect(frames).toEqual(pdus)
      }),
    )
  })
})

describe('what a status means', () => {
  it('is told from the specification, or from the configuration for the peer’s own', () => {
    const kinds = [0x0b, 0x58, 0x14, 0x08, 0x0e, 0x0a, 0x410].map((status) => refusal(status, {}).kind)
    expect(kinds).toEqual(['rejected', 'throttled', 'throttled', 'later', 'misconfigured', 'misconfigured', 'later'])
    expect(refusal(0x410, { '0x0410': 'rejected' })).toEqual({ kind: 'rejected', code: 'smpp-0x410' })
    expect(refusal(0x08, { '0x0008': 'throttled' }).kind).toBe('throttled')
  })
})

describe('the sender', () => {
  it.each([
    ['Clinic', 5, 0],
    ['80001', 3, 0],
    ['+16135550142', 1, 1],
    ['16135550142', 1, 1],
    ['', 0, 0],
  ])('"%s" is of type %i, plan %i', (address, ton, npi) => {
    expect(sourceOf({ address })).toEqual({ address: address.replace('+', ''), ton, npi })
  })

  it('is of the type the configuration gives', () => {
    expect(sourceOf({ address: '80001', ton: 2, npi: 1 })).toEqual({ address: '80001', ton: 2, npi: 1 })
  })
})

describe('a description of a message centre', () => {
  it('is refused with every fault at once', () => {
    const raw = {
      kind: 'smpp',
      name: 'Centre',
      host: '',
      systemId: 'much too long for an id',
      password: 'hunter2',
      statuses: { '88': 'later' },
    }
    try {
      readSmppConfig(raw)
      expect.unreachable()
    } catch (error) {
      const fields = (error as Failure).detail.faults!.map((fault) => fault.field)
      expect(fields).toEqual(['name', 'host', 'systemId', 'password', 'statuses.88'])
    }
  })
})
