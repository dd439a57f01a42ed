import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import { MEANINGS } from '../../src/domain/replies/reading.ts'

const vocabulary = loadVocabulary()
const read = (text: string, language = 'en') =>
  readReply(
    text,
    { language, receivedAt: new Date(Date.UTC(2026, 2, 18, 17)), zone: 'America/Halifax', choices: 3 },
    vocabulary,
  )

/** Milliseconds of processor time; a loaded machine does not count. */
function cost(work: () => unknown): number {
  const before = process.cpuUsage()
  work()
  const { user, system } = process.cpuUsage(before)
  return (user + system) / 1000
}

describe('a hostile text', () => {
  it('never makes the reader fail, whatever its characters', () => {
    const anything = fc.oneof(
      fc.string({ unit: 'binary', maxLength: 300 }),
      fc.string({ unit: 'grapheme', maxLength: 300 }),
      fc.string({ maxLength: 300 }),
    )
    fc.assert(
      fc.property(anything, fc.constantFrom('en', 'fr', 'xx'), (text, language) => {
        const { meaning, confidence } = read(text, language)
        expect(MEANINGS).toContain(meaning)
        expect(confidence).toBeGreaterThanOrEqual(0)
        expect(confidence).toBeLessThanOrEqual(1)
      }),
      { numRuns: 1000 },
    )
  })

  it('reads the same twice', () => {
    const words = fc.array(
      fc.constantFrom(
        'my',
        'period',
        'started',
        'stop',
        'not',
        'yesterday',
        '2',
        ',',
        '.',
        '?',
        'bleeding',
        'heavy',
        'if',
        'the',
        '15th',
        'sex',
        'can',
        'i',
      ),
      { maxLength: 12 },
    )
    fc.assert(
      fc.property(words, (list) => {
        expect(read(list.join(' '))).toEqual(read(list.join(' ')))
      }),
      { numRuns: 300 },
    )
  })

  const LONG: [string, string][] = [
    ['one letter', 'a'.repeat(10_000)],
    ['words of the vocabulary', 'my period '.repeat(1000)],
    ['stops', 'stop '.repeat(2000)],
    ['negations', 'not not yet '.repeat(900)],
    ['digits and slashes', '1/1/1-1.'.repeat(1250)],
    ['apostrophes', "a'".repeat(5000)],
    ['open brackets', '('.repeat(10_000)],
    ['months', 'march 3 '.repeat(1250)],
    ['dates', '3 march '.repeat(2500)],
    ['spaces', ' '.repeat(10_000)],
    ['accents', 'é\u0301'.repeat(5000)],
    ['single letters', 's t o p '.repeat(1250)],
    ['emoji', '🩸👍🏽'.repeat(2500)],
    ['quotation marks', '“"'.repeat(5000)],
    ['words that mail uses', 'on 1 wrote: '.repeat(900)],
    ['reactions', 'Liked “'.repeat(1400)],
    ['a million letters', 'x y '.repeat(250_000)],
  ]
  it.each(LONG)('of 10,000 characters and more of %s takes bounded time', (_, text) => {
    read(text)
    // 50 ms on an idle machine (OWASP ASVS 5.0 V2.4: no input may hold the service up); twice that where it is busy.
    expect(Math.min(...[1, 2, 3].map(() => cost(() => read(text))))).toBeLessThan(100)
  })

  it('takes time in proportion to its length', () => {
    const unit = 'my period hasn’t started yet but i might be late on the 15th, '
    read(unit.repeat(160))
    const short = Math.min(
      ...[1, 2, 3].map(
        () =>
          cost(() => {
            for (let i = 0; i < 20; i++) read(unit.repeat(8))
          }) / 20,
      ),
    )
    const long = Math.min(...[1, 2, 3].map(() => cost(() => read(unit.repeat(160)))))
    // Twenty times the length; three times more is left for the machine's moods.
    expect(long).toBeLessThan(60 * Math.max(short, 0.5))
  })

  it('of bytes that were no text confirms and chooses nothing, in any language', () => {
    const bytes = Array.from({ length: 32 }, (_, i) => String.fromCharCode(i)).concat(
      Array.from({ length: 129 }, (_, i) => String.fromCharCode(127 + i)),
    )
    const junk = [
      'ÿ',
      'ÿþ',
      'ÿ ÿ',
      '\ufffd',
      '\u0301',
      ' \u0308\u0301 ',
      'y\u0308',
      'k\u0301',
      '\u0001y\u0002',
      '\ufffdy\ufffd',
      '\ufffd2\ufffd',
      '\ud83d',
      'ÿØÿà\u0000\u0010JFIF',
    ]
    for (const text of [...bytes, ...junk]) {
      for (const language of ['en', 'fr', 'es', 'uk', 'pa'])
        expect(read(text, language).meaning, `${language} ${JSON.stringify(text)}`).toBe('unclear')
    }
  })

  it('of control, replacement and half characters and lone marks, with a letter by chance, is never words', () => {
    const junk = fc.constantFrom('\u0000', '\u0001', '\u0007', '\u0081', '\ufffd', 'ÿ', '\ud800', ' \u0301', '\ue000')
    const letter = fc.constantFrom('', '', 'y', 'k', '2', 'n', '1', 'x', 'ok', 'si')
    const piece = fc.tuple(junk, letter, junk, junk).map((parts) => parts.join(''))
    fc.assert(
      fc.property(
        fc.array(piece, { minLength: 1, maxLength: 8 }),
        fc.constantFrom('en', 'fr', 'es', 'uk', 'pa'),
        (pieces, language) => {
          expect(read(pieces.join(' '), language).meaning).toBe('unclear')
        },
      ),
      { numRuns: 500 },
    )
  })

  it('that was padded, or sent in two bytes a letter, is still read', () => {
    expect(read('stop\u0000\u0000\u0000').meaning).toBe('stop')
    expect(read('s\u0000t\u0000o\u0000p\u0000').meaning).toBe('stop')
    expect(read("I can't come\u0000").meaning).toBe('cannot-come')
    expect(read('my period started today \ufffd').meaning).toBe('period-started')
  })

  it('cannot hide a stop by disguise', () => {
    for (const text of [
      'S\u200bT\u200bO\u200bP',
      '\u202ESTOP\u202C',
      'ЅТОР',
      'ＳＴＯＰ',
      'st0p',
      's.t.o.p',
      's t o p',
      'STOPPP',
      '\u0000stop\u0007',
      'ѕtоp',
      '𝐒𝐓𝐎𝐏',
      's\u00adtop',
    ]) {
      expect(read(text).meaning, JSON.stringify(text)).toBe('stop')
    }
  })

  it('cannot hide a stop or an alarm by its length', () => {
    const filling = 'I wanted to tell you about my holiday and the weather. '.repeat(180)
    for (const [words, meaning] of [
      ['please stop texting me.', 'stop'],
      ['I am bleeding heavily.', 'urgent'],
      ['I want to kill myself.', 'urgent'],
    ]) {
      expect(read(`${words} ${filling}`).meaning).toBe(meaning)
      expect(read(`${filling} ${words}`).meaning).toBe(meaning)
      expect(read(`${filling.slice(0, 5000)} ${words} ${filling.slice(0, 5000)}`).meaning).toBe(meaning)
    }
  })

  it('is only text: markup, queries, links and templates mean nothing', () => {
    for (const text of [
      "'; DROP TABLE patients; --",
      '<script>alert(1)</script>',
      '{{constructor}}',
      '${7*7}',
      '../../etc/passwd',
      '__proto__',
      'constructor',
      'https://example.com/verify?id=1',
      '%s%s%n',
      'toString',
    ]) {
      expect(read(text).meaning, text).toBe('unclear')
    }
  })

  it('that quotes a carrier word in an advertisement is no stop', () => {
    for (const text of [
      'You have won! Text WIN to 80099 now. Txt STOP to opt out',
      'U r subscribed, send STOP to 83021',
      'Free tones. Reply STOP to end. www.example.com',
      'Sale today. Call 09066350750. Stop.',
    ]) {
      expect(read(text).meaning, text).not.toBe('stop')
    }
  })
})
