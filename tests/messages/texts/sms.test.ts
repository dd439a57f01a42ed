import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { SegmentedMessage } from 'sms-segments-calculator'
import * as splitSmsPackage from 'split-sms'
import { describe, expect, test } from 'vitest'
import {
  foldTypography,
  measureSms,
  outsideGsm7,
  splitSms,
  type Encoding,
} from '../../../src/domain/messages/texts/sms.ts'

const a = (count: number): string => 'a'.repeat(count)

// Computed by hand from 3GPP TS 23.038 §6.2.1 and TS 23.040 §9.2.3.24.1: 160/153 septets, 70/67 UTF-16 units, an
// extended character two septets, an escape or surrogate pair never split.
const PUBLISHED: [string, string, Encoding, number, number][] = [
  ['160 letters', a(160), 'GSM-7', 160, 1],
  ['161 letters', a(161), 'GSM-7', 161, 2],
  ['306 letters', a(306), 'GSM-7', 306, 2],
  ['307 letters', a(307), 'GSM-7', 307, 3],
  ['158 letters and a euro', `${a(158)}€`, 'GSM-7', 160, 1],
  ['159 letters and a euro: 160 characters, but 161 septets', `${a(159)}€`, 'GSM-7', 161, 2],
  ['80 euros', '€'.repeat(80), 'GSM-7', 160, 1],
  ['81 euros', '€'.repeat(81), 'GSM-7', 162, 2],
  ['153 euros: 76 fit a segment, so three and not two', '€'.repeat(153), 'GSM-7', 306, 3],
  ['a euro that would straddle two segments', `${a(152)}€${a(152)}`, 'GSM-7', 306, 3],
  ['160 capital Ç', 'Ç'.repeat(160), 'GSM-7', 160, 1],
  ['70 small ç', 'ç'.repeat(70), 'UCS-2', 70, 1],
  ['71 small ç', 'ç'.repeat(71), 'UCS-2', 71, 2],
  ['160 ñ', 'ñ'.repeat(160), 'GSM-7', 160, 1],
  ['160 é', 'é'.repeat(160), 'GSM-7', 160, 1],
  ['69 letters and ç', `${a(69)}ç`, 'UCS-2', 70, 1],
  ['70 letters and ç', `${a(70)}ç`, 'UCS-2', 71, 2],
  ['35 faces', '😀'.repeat(35), 'UCS-2', 70, 1],
  ['36 faces', '😀'.repeat(36), 'UCS-2', 72, 2],
  ['67 faces: 33 fit a segment, so three and not two', '😀'.repeat(67), 'UCS-2', 134, 3],
]

describe('what a text costs', () => {
  test.each(PUBLISHED)('%s', (_, text, encoding, units, segments) => {
    expect(measureSms(text)).toEqual({ encoding, units, segments })
  })

  test('one circumflex makes a French text UCS-2, the same word without it is GSM-7', () => {
    expect(measureSms('Répondez OUI ou ARRÊT.').encoding).toBe('UCS-2')
    expect(measureSms('Répondez OUI ou ARRET.').encoding).toBe('GSM-7')
  })

  test('Spanish with é, ñ and ¿ is GSM-7, any í or ó is not', () => {
    expect(measureSms('Cita: 9 mar 10:00. Mañana. ¿Preguntas?').encoding).toBe('GSM-7')
    expect(outsideGsm7('día, sección')).toEqual(['í', 'ó'])
  })

  test('the alphabet is that of the published table, member by member', () => {
    const table =
      '@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !"#¤%&\'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà'
    expect([...table]).toHaveLength(127) // 128 positions less the escape itself
    for (const character of table) expect(measureSms(character)).toEqual({ encoding: 'GSM-7', units: 1, segments: 1 })
    for (const character of '\f^{}\\[~]|€')
      expect(measureSms(character)).toEqual({ encoding: 'GSM-7', units: 2, segments: 1 })
    for (const character of 'áíóúâêîôûëïœçÀ’“”…`\u00a0\t') expect(measureSms(character).encoding).toBe('UCS-2')
  })
})

const anyText = fc.string({ unit: fc.constantFrom('a', 'é', '€', '{', 'ç', '😀', 'ਸ', ' ', '\n'), maxLength: 400 })
const plainText = fc.string({ unit: fc.constantFrom('a', 'é', '€', '[', ' '), maxLength: 500 })

// A CommonJS package: seen from ESM its functions may sit under `default`.
const referee = 'default' in splitSmsPackage ? (splitSmsPackage.default as typeof splitSmsPackage) : splitSmsPackage

describe('splitting', () => {
  test('the segments are the text, none is too long, and no pair is torn apart', () => {
    fc.assert(
      fc.property(fc.oneof(anyText, plainText), (text) => {
        const segments = splitSms(text)
        const { encoding } = measureSms(text)
        expect(segments.join('')).toBe(text)
        const room = segments.length === 1 ? { 'GSM-7': 160, 'UCS-2': 70 } : { 'GSM-7': 153, 'UCS-2': 67 }
        for (const segment of segments) {
          expect(segment).not.toMatch(/^[\udc00-\udfff]|[\ud800-\udbff]$/)
          const units =
            encoding === 'UCS-2' ? segment.length : [...segment].length + (segment.match(/[€[{]/g) ?? []).length
          expect(units).toBeLessThanOrEqual(room[encoding])
        }
      }),
    )
  })

  // The referees agree on encoding and segments everywhere. They differ in what they call length:
  // sms-segments-calculator counts characters (a euro is 1, a face 1) and split-sms counts UCS-2 in octets. 23.038
  // counts septets and 16-bit units.
  test('two independent counters come to the same encoding and number of segments', () => {
    fc.assert(
      fc.property(fc.oneof(anyText, plainText), (text) => {
        const ours = measureSms(text)
        const one = new SegmentedMessage(text, 'auto', false)
        const other = referee.split(text)
        expect({ encoding: one.encodingName, segments: one.segmentsCount }).toEqual({
          encoding: ours.encoding,
          segments: ours.segments,
        })
        expect({ gsm: other.characterSet === 'GSM', segments: other.parts.length }).toEqual({
          gsm: ours.encoding === 'GSM-7',
          segments: ours.segments,
        })
        expect(other.bytes).toBe(ours.encoding === 'GSM-7' ? ours.units : ours.units * 2)
      }),
    )
  })
})

describe('folding typography', () => {
  test('curly quotes, dashes, ellipses and odd spaces become their plain forms', () => {
    expect(foldTypography('“It’s” — 10:30…\u00a0«oui»')).toBe('"It\'s" - 10:30... "oui"')
    expect(measureSms(foldTypography('St. Mary’s – Women’s Clinic')).encoding).toBe('GSM-7')
  })

  test('no letter of any shipped text is ever changed, since accents change meaning', () => {
    for (const language of ['en', 'fr', 'es', 'uk', 'pa']) {
      for (const file of ['sms', 'voice', 'answers']) {
        const words = readFileSync(new URL(`../../../templates/${language}/${file}.yaml`, import.meta.url), 'utf8')
        const letters = (text: string): string[] => text.match(/[\p{L}\p{M}]/gu) ?? []
        expect(letters(foldTypography(words))).toEqual(letters(words))
      }
    }
  })

  test('folding twice is folding once', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme' }), (text) => {
        expect(foldTypography(foldTypography(text))).toBe(foldTypography(text))
      }),
    )
  })
})
