import type { ReadingFormula } from './library.ts'
import { countSyllables } from './syllables.ts'

export interface ReadingCounts {
  words: number
  sentences: number
  syllables: number
}

/** Flesch-Kincaid grade (Kincaid et al. 1975). */
export function fleschKincaidGrade({ words, sentences, syllables }: ReadingCounts): number {
  return 0.39 * (words / sentences) + 11.8 * (syllables / words) - 15.59
}

/** Flesch reading ease (Flesch 1948). */
export function fleschEase({ words, sentences, syllables }: ReadingCounts): number {
  return 206.835 - 1.015 * (words / sentences) - 84.6 * (syllables / words)
}

/** Fernández-Huerta ease for Spanish (1959): 80 and more is easy. */
export function fernandezHuertaEase({ words, sentences, syllables }: ReadingCounts): number {
  return 206.84 - 1.02 * (words / sentences) - 60 * (syllables / words)
}

/** Kandel-Moles ease for French (1958): 80 and more is easy. */
export function kandelMolesEase({ words, sentences, syllables }: ReadingCounts): number {
  return 207 - 1.015 * (words / sentences) - 73.6 * (syllables / words)
}

/**
 * Ease on Flesch's scale as a school grade, straight between the steps of Fernández-Huerta's own table: 90 → 5, 80 → 6,
 * 70 → 7 (value from memory).
 */
export function gradeOfEase(ease: number): number {
  return 14 - ease / 10
}

/**
 * Words, sentences and syllables of a text. By Flesch's own rule (1948) every unit of thought marked off by a full
 * stop, question or exclamation mark, colon, semicolon or line end counts as a sentence. Bare numbers don't count.
 *
 * @param leaveOut strings that are not our wording: names, telephone numbers, addresses.
 */
export function readingCounts(text: string, formula: ReadingFormula, leaveOut: readonly string[] = []): ReadingCounts {
  const ours = leaveOut.reduce((rest, words) => rest.replaceAll(words, ' '), text)
  const units = (formula === 'kandel-moles' ? partPronouns(ours) : ours).split(/[.!?:;…](?=\s|$)|\n/u)
  const sentences = units.map((unit) => unit.match(/(?<![\d\p{L}\p{M}])[\p{L}\p{M}]+(?:['’-][\p{L}\p{M}]+)*/gu) ?? [])
  const words = sentences.flat()
  return {
    words: words.length,
    sentences: sentences.filter((sentence) => sentence.length > 0).length,
    syllables: words.reduce((sum, word) => sum + countSyllables(word, formula), 0),
  }
}

/** In French a pronoun after its verb is a word of its own (parlez-vous), but not in rendez-vous. */
function partPronouns(text: string): string {
  return text.replace(/(?<!\brendez)-(?:t-)?(?=(?:vous|nous|elles?|ils?|les?|la|moi|ce)\b)/gi, ' ')
}

const EASE: Record<Exclude<ReadingFormula, 'none'>, (counts: ReadingCounts) => number> = {
  'flesch-kincaid': fleschEase,
  'fernandez-huerta': fernandezHuertaEase,
  'kandel-moles': kandelMolesEase,
}

/** Reading ease by the formula of the language (Flesch's for English), or null where there is none or no word. */
export function readingEase(counts: ReadingCounts, formula: ReadingFormula): number | null {
  return formula === 'none' || counts.words === 0 ? null : EASE[formula](counts)
}

/** School grade, rounded to a tenth; null where the language has no formula or the text no word. */
export function readingGrade(counts: ReadingCounts, formula: ReadingFormula): number | null {
  const ease = readingEase(counts, formula)
  if (ease === null) return null
  const grade = formula === 'flesch-kincaid' ? fleschKincaidGrade(counts) : gradeOfEase(ease)
  return Math.round(grade * 10) / 10 + 0 // no negative zero
}
