import { describe, expect, it } from 'vitest'
import { get, parse, repetitions, segmentOf, segmentsOf } from '../../../src/adapters/schedule/hl7/parse.ts'
import { bytes, latin1, newsOf, parsed, pid, msh, siu } from './messages.ts'

// Rules: HL7 v2.5.1 ch. 2 (delimiters 2.5.4, escapes 2.7, charsets table 0211). Messages are invented.
const nte = (text: string, head = 'MSH|^~\\&|') => segmentOf(parsed(`${head}\rNTE|${text}`), 'NTE')

describe('a message', () => {
  it('is taken apart by position', () => {
    const found = segmentOf(parsed('MSH|^~\\&|APP\rPID|1||a^b&c^d~e^&f||'), 'PID')
    expect([get(found, 1), get(found, 3), get(found, 3, 1, 2), get(found, 3, 1, 2, 2)]).toEqual(['1', 'a', 'b', 'c'])
    expect([get(found, 3, 2), get(found, 3, 2, 2), get(found, 3, 2, 2, 2)]).toEqual(['e', undefined, 'f'])
    expect(repetitions(found, 3)).toEqual([1, 2])
    expect([get(found, 99), get(found, 3, 9), get(undefined, 1)]).toEqual([undefined, undefined, undefined])
  })

  it('numbers the fields of MSH as HL7 does: the first is the delimiter itself', () => {
    const found = segmentOf(parsed('MSH|^~\\&|APP^x|FAC'), 'MSH')
    expect([1, 2, 3, 4].map((field) => get(found, field))).toEqual(['|', '^~\\&', 'APP', 'FAC'])
  })

  it('keeps "told to be none" apart from "not told"', () => {
    const found = nte('""|')
    expect(get(found, 1)).toBeNull()
    expect(get(found, 2)).toBeUndefined()
  })

  it('says itself what its delimiters are, the fifth one too', () => {
    const found = segmentOf(parsed('MSH$*%@!#$APP\rNTE$a*b!c%d@F@@S@@T@@R@@E@@P@|^~\\&'), 'NTE')
    expect([get(found, 1), get(found, 1, 1, 2), get(found, 1, 1, 2, 2)]).toEqual(['a', 'b', 'c'])
    expect(get(found, 1, 2)).toBe('d$*!%@#|^~\\&')
  })

  it('has the usual ones where it leaves them out', () => {
    expect(get(nte('a~b&c\\T\\', 'MSH|^|'), 1, 2, 1, 2)).toBe('c&')
  })

  it.each(['', 'MSH', 'MSH|', 'MSH||', 'PID|1', 'MSHA^~\\&A', 'MSH|^^~\\|', 'MSH|ABCD|', 'MSH|^~\\&#!|', '\u0006'])(
    'is refused where it does not begin as one: "%s"',
    (text) => {
      expect(parse(bytes(text), 'utf-8')).toMatchObject({ refusal: { ack: 'AE', code: 100 }, head: null })
    },
  )

  it('is refused where it is two: the second would vanish', () => {
    expect(parse(bytes(siu() + siu()), 'utf-8')).toMatchObject({
      refusal: { ack: 'AE', code: 100 },
      head: { segments: [{ name: 'MSH' }] },
    })
  })

  it.each(['\r', '\n', '\r\n', '\r\r\n', '\n\n'])('may end its segments with %j', (end) => {
    const names = parsed(siu().replaceAll('\r', end)).segments.map(({ name }) => name)
    expect(names).toEqual(['MSH', 'SCH', 'PID', 'RGS', 'AIS', 'AIL', 'AIP'])
  })

  it('keeps a line that is broken within a field, and says so of one that belongs nowhere', () => {
    const found = parsed('MSH|^~\\&|\rNTE|one\ntwo\rPID|1\rlost words\r')
    expect(get(segmentsOf(found, 'NTE')[0], 1)).toBe('one\ntwo')
    expect(found.segments).toHaveLength(3)
    expect(found.doubts).toEqual(['Lines that are no segments were passed over.'])
  })

  it('of many blank lines is read at once', () => {
    const started = performance.now()
    parsed(`MSH|^~\\&|${'\n'.repeat(500_000)} ${'\r\n '.repeat(100_000)}\rPID|1`)
    expect(performance.now() - started).toBeLessThan(20_000)
  })
})

describe('escapes', () => {
  it.each([
    ['\\F\\\\S\\\\T\\\\R\\\\E\\', '|^&~\\'],
    ['one\\.br\\two\\.sp2\\three', 'one\ntwo\nthree'],
    ['\\H\\loud\\N\\ \\.in+4\\not', 'loud not'],
    ['\\X41\\\\X4243\\', 'ABC'],
    // What is no escape stays.
    ['C:\\temp', 'C:\\temp'],
    ['\\Zap\\ \\X4\\ \\', '\\Zap\\ \\X4\\ \\'],
    ['a\\b\\T\\c', 'a\\b&c'],
    ['\\\\', '\\\\'],
  ])('%s', (written, meant) => {
    expect(get(nte(written), 1)).toBe(meant)
  })

  it('are resolved after splitting: an escaped delimiter never splits', () => {
    const found = nte('a\\S\\b^c\\F\\d|e')
    expect([get(found, 1), get(found, 1, 1, 2), get(found, 2)]).toEqual(['a^b', 'c|d', 'e'])
  })

  it('hold bytes of the charset of the message', () => {
    expect(get(nte('Andr\\XC3A9\\'), 1)).toBe('André')
    expect(get(nte('Andr\\XC3\\\\XA9\\'), 1)).toBe('André')
    expect(get(nte('Andr\\XE9\\', `MSH|^~\\&|${'|'.repeat(15)}8859/1`), 1)).toBe('André')
    // Not UTF-8: never U+FFFD.
    expect(get(nte('Andr\\XE9\\'), 1)).toBe('André')
  })
})

describe('the charset', () => {
  const named = (charset: string) => siu({ MSH: msh('S12', { 18: charset }), PID: pid({ 5: 'Żółć^Zoë' }) })
  const nameIn = (message: Uint8Array, charset: string) => newsOf(message, { charset }).patient!.name

  // Which bytes a letter has: WHATWG Encoding Standard (ISO 8859-2: ó F3, ł B3, ć E6, Ż AF, ë EB).
  const LATIN2 = latin1(named('8859/2').replace('Żółć^Zoë', '\u00af\u00f3\u00b3\u00e6^Zo\u00eb'))

  it.each([['UNICODE UTF-8'], ['UTF-8'], ['UNICODE'], ['ASCII'], ['']])('UTF-8, MSH-18 "%s"', (charset) => {
    expect(nameIn(bytes(named(charset)), 'windows-1252')).toBe('Zoë Żółć')
  })

  it('by table 0211', () => {
    expect(nameIn(LATIN2, 'windows-1252')).toBe('Zoë Żółć')
  })

  it('by the first repetition of MSH-18', () => {
    expect(
      nameIn(latin1(Buffer.from(LATIN2).toString('latin1').replace('8859/2', '8859/2~UNICODE UTF-8')), 'utf-8'),
    ).toBe('Zoë Żółć')
  })

  it('of the feed, where MSH-18 is empty and the bytes are not UTF-8', () => {
    const bare = latin1(Buffer.from(LATIN2).toString('latin1').replace('8859/2', ''))
    expect(nameIn(bare, 'iso-8859-2')).toBe('Zoë Żółć')
  })

  it('of the feed with a doubt, where MSH-18 names another', () => {
    const wrong = latin1(Buffer.from(LATIN2).toString('latin1').replace('8859/2', 'UNICODE UTF-8'))
    const { patient, doubts } = newsOf(wrong, { charset: 'iso-8859-2' })
    expect(patient!.name).toBe('Zoë Żółć')
    expect(doubts.join()).toContain('MSH-18 names a charset that the bytes are not in')
    expect(newsOf(bytes(named('KLINGON'))).doubts.join()).toContain('nobody here knows')
    expect(newsOf(bytes(named('constructor'))).patient!.name).toBe('Zoë Żółć')
  })

  it('is missed rather than guessed: nothing becomes U+FFFD', () => {
    const bare = latin1(Buffer.from(LATIN2).toString('latin1').replace('8859/2', ''))
    expect(parse(bare, 'utf-8')).toMatchObject({ refusal: { ack: 'AE', code: 102, at: 'MSH^1^18' } })
    expect(parse(bare, 'no such charset')).toMatchObject({
      refusal: { code: 102 },
      head: { segments: [{ name: 'MSH' }] },
    })
  })

  it('where a byte looks like a delimiter: GB 18030 has 0x7C as half of a letter', () => {
    // WHATWG Encoding Standard: 81 7C is a letter of GB 18030; 3B 33 after ESC $ B is 山 of JIS X 0208.
    const gb = siu({ MSH: msh('S12', { 18: 'GB 18030-2000' }), PID: pid({ 5: '\u0081\u007c^Li' }) })
    const expected = new TextDecoder('gb18030').decode(Uint8Array.of(0x81, 0x7c))
    expect(nameIn(latin1(gb), 'utf-8')).toBe(`Li ${expected}`)
    const japanese = siu({ MSH: msh('S12', { 18: '~ISO IR87' }), PID: pid({ 5: '\u001b$B;3\u001b(B^Hana' }) })
    expect(nameIn(latin1(japanese), 'utf-8')).toBe('Hana 山')
  })

  it('may be marked by a BOM', () => {
    expect(nameIn(bytes(`\ufeff${named('')}`), 'windows-1252')).toBe('Zoë Żółć')
  })
})
