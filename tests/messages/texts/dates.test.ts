import { expect, test } from 'vitest'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { EXAMPLE_SITE } from '../../../src/cli/example-site.ts'
import { renderText } from '../../../src/domain/messages/texts/render.ts'

const library = loadTexts()

/** “Your visit is now on …” for a visit at this instant. */
function moved(language: string, channel: 'sms' | 'voice', visit: string, zone = 'America/Halifax'): string {
  const values = { ...EXAMPLE_SITE, zone, visit: new Date(visit) }
  return renderText(library, { kind: 'moved', language, channel, detail: 'full', values }).text
}

test('times are those of the clock on the wall, each side of a clock change', () => {
  expect(moved('en', 'sms', '2026-03-08T04:30:00Z')).toContain('Sun Mar 8 12:30am')
  expect(moved('en', 'sms', '2026-03-08T13:30:00Z')).toContain('Sun Mar 8 10:30am')
  expect(moved('en', 'sms', '2026-03-08T13:30:00Z', 'Europe/Kyiv')).toContain('Sun Mar 8 3:30pm')
})

/** On Friday 20 March 2026 in Halifax. */
const NOON = '2026-03-20T15:00:00Z'
const MIDNIGHT = '2026-03-20T03:00:00Z'

// 12 a.m. and 12 p.m. are ambiguous, and noon and midnight are to be written instead: NIST, "Times of day" (from memory).
// The words of the other languages: common usage, no source. In Punjabi one says 12 of the day, and 12 of the night.
test.each([
  ['en', 'sms', NOON, 'on Fri Mar 20 noon.'],
  ['en', 'voice', NOON, 'Friday, March 20, at noon.'],
  ['en', 'sms', MIDNIGHT, 'on Mar 20 midnight.'],
  ['en', 'voice', MIDNIGHT, 'Friday, March 20, at midnight.'],
  ['fr', 'sms', NOON, 'le ven 20 mars midi.'],
  ['fr', 'voice', NOON, 'vendredi 20 mars, à midi.'],
  ['fr', 'sms', MIDNIGHT, 'le 20 mars minuit.'],
  ['fr', 'voice', MIDNIGHT, 'vendredi 20 mars, à minuit.'],
  // Without its accent: í is not in GSM-7 and would double the cost of the text.
  ['es', 'sms', NOON, 'el vie 20 mar mediodia.'],
  ['es', 'voice', NOON, 'viernes 20 de marzo, al mediodía.'],
  ['es', 'sms', MIDNIGHT, 'el 20 mar medianoche.'],
  ['es', 'voice', MIDNIGHT, 'viernes 20 de marzo, a medianoche.'],
  ['uk', 'sms', NOON, 'пт 20 березня опівдні.'],
  ['uk', 'voice', NOON, "п'ятниця, двадцяте березня, опівдні."],
  ['uk', 'sms', MIDNIGHT, '20 березня опівночі.'],
  ['uk', 'voice', MIDNIGHT, "п'ятниця, двадцяте березня, опівночі."],
  ['pa', 'sms', NOON, 'ਸ਼ੁੱਕਰ 20 ਮਾਰਚ ਨੂੰ ਦੁਪਹਿਰ 12 ਵਜੇ'],
  ['pa', 'voice', NOON, 'ਸ਼ੁੱਕਰਵਾਰ, 20 ਮਾਰਚ ਨੂੰ, ਦੁਪਹਿਰ 12 ਵਜੇ'],
  ['pa', 'sms', MIDNIGHT, 'ਸ਼ੁੱਕਰ 20 ਮਾਰਚ ਨੂੰ ਰਾਤ 12 ਵਜੇ'],
  ['pa', 'voice', MIDNIGHT, 'ਸ਼ੁੱਕਰਵਾਰ, 20 ਮਾਰਚ ਨੂੰ, ਰਾਤ 12 ਵਜੇ'],
] as const)('in %s by %s, %s has a name: “%s”', (language, channel, visit, words) => {
  expect(moved(language, channel, visit)).toContain(words)
})

test.each(['en', 'es', 'fr', 'uk', 'pa'])('in %s no other time of day is called noon or midnight', (language) => {
  const names = /noon|midnight|midi\b|minuit|mediodia|medianoche|опів|(ਦੁਪਹਿਰ|ਰਾਤ) 12 /
  for (const minute of ['01', '05', '30', '59'])
    expect(moved(language, 'sms', `2026-03-20T15:${minute}:00Z`)).not.toMatch(names)
})

test('each language writes and speaks dates its own way', () => {
  const at = '2026-03-20T13:30:00Z'
  expect(moved('fr', 'sms', at)).toContain('le ven 20 mars 10h30.')
  expect(moved('es', 'sms', at)).toContain('el vie 20 mar 10:30am.')
  expect(moved('uk', 'sms', at)).toContain('пт 20 березня, 10:30.')
  expect(moved('pa', 'sms', at)).toContain('ਸ਼ੁੱਕਰ 20 ਮਾਰਚ ਨੂੰ ਸਵੇਰੇ 10:30 ਵਜੇ')
  expect(moved('fr', 'voice', at)).toContain('vendredi 20 mars, à 10 heures 30')
  expect(moved('es', 'voice', at)).toContain('viernes 20 de marzo, a las 10 y media de la mañana')
  expect(moved('fr', 'sms', '2026-08-01T13:00:00Z')).toContain('sam 1er aout 10h.')
  expect(moved('es', 'voice', '2026-08-01T16:00:00Z')).toContain('sábado primero de agosto, a la una de la tarde')
})

test('English says “oh five”: a voice makes “zero five” of 10:05', () => {
  expect(moved('en', 'voice', '2026-03-20T13:05:00Z')).toContain('at 10 oh 5 in the morning')
  expect(moved('en', 'sms', '2026-03-20T13:05:00Z')).toContain('10:05am')
})

test('in Punjabi the small hours are of the night, not of the morning', () => {
  expect(moved('pa', 'voice', '2026-03-20T04:30:00Z')).toContain('ਰਾਤ 1:30 ਵਜੇ')
  expect(moved('pa', 'voice', '2026-03-20T08:00:00Z')).toContain('ਸਵੇਰੇ 5 ਵਜੇ')
})
