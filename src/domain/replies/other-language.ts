/**
 * Languages that patients write and Daysix does not read: named, so that the desk finds somebody who does. By the
 * script where one is written in a script of its own (Unicode scripts, ISO 15924 codes). Tagalog, which is not, is told
 * by words that are frequent in it and in none of our languages (value from memory).
 */
const SCRIPTS: readonly (readonly [code: string, pattern: RegExp])[] = [
  ['und-Arab', /\p{Script=Arabic}/gu],
  ['und-Cans', /\p{Script=Canadian_Aboriginal}/gu],
  ['und-Hani', /\p{Script=Han}/gu],
  ['ja', /\p{Script=Hiragana}|\p{Script=Katakana}/gu],
  ['ko', /\p{Script=Hangul}/gu],
  ['und-Deva', /\p{Script=Devanagari}/gu],
  ['ta', /\p{Script=Tamil}/gu],
  ['bn', /\p{Script=Bengali}/gu],
  ['gu', /\p{Script=Gujarati}/gu],
  ['am', /\p{Script=Ethiopic}/gu],
  ['el', /\p{Script=Greek}/gu],
  ['he', /\p{Script=Hebrew}/gu],
  ['th', /\p{Script=Thai}/gu],
]
/** Of the scripts of our languages alone, as most texts are: then none of the others need be looked for. */
const OURS = /^[\p{Script=Latin}\p{Script=Cyrillic}\p{Script=Gurmukhi}\p{Script=Common}\p{Script=Inherited}]*$/u
/** More than half of the letters: a name or a word of another script does not make the text one. */
const MOST = 0.5

const TAGALOG: ReadonlySet<string> = new Set(
  (
    'ako ang nang ng mga po opo hindi hindî wala walang meron mayroon naman lang siya kayo tayo nila niya ko mo ' +
    'ba nga bukas ngayon kahapon salamat pwede puwede kailan saan bakit regla reglahin dumating na pa rin din'
  ).split(' '),
)
/** So many of its words, and so large a part of the text. */
const TAGALOG_WORDS = 3
const TAGALOG_SHARE = 0.4

/** A language, or a script (`und-Arab`), that is none of ours; undefined where the text gives no sign of one. */
export function otherLanguageOf(text: string): string | undefined {
  const letters = text.match(/\p{L}/gu)?.length ?? 0
  if (letters === 0) return undefined
  const found = OURS.test(text)
    ? undefined
    : SCRIPTS.find(([, pattern]) => (text.match(pattern)?.length ?? 0) / letters > MOST)
  if (found) return found[0]
  const words = text.toLowerCase().match(/\p{L}+/gu) ?? []
  const known = words.filter((word) => TAGALOG.has(word)).length
  return known >= TAGALOG_WORDS && known / words.length >= TAGALOG_SHARE ? 'tl' : undefined
}

const BY_LETTERS: ReadonlyMap<string, string> = new Map([
  ['und-Arab', 'Arabic letters (Arabic, Dari, Farsi, Urdu and others)'],
  ['und-Cans', 'syllabics (Cree, Inuktitut and others)'],
  ['und-Hani', 'Chinese characters'],
  ['und-Deva', 'Devanagari letters (Hindi, Nepali and others)'],
])

/** What the desk calls it, in English. */
export function languageWords(code: string): string {
  return BY_LETTERS.get(code) ?? new Intl.DisplayNames('en', { type: 'language' }).of(code) ?? code
}
