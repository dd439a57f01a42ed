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
 * Ease on Flesch's scale as a school grade, straight between the steps of Fernández-Huerta's own table: 90 → 5, 80 → 6, 70 → 7
 * (value from memory).
 */
export function gradeOfEase(ease: number): number {
  return 14 - ease / 10
}

/**
 * Words, sentences and syllables of a text. By Flesch's own rule ("How to test readability") every unit marked off by a
 * full stop, question or exclamation mark, colon, semicolon or line end counts as a sentence. Bare numbers don't count.
 */
export function readingCounts(text: string, formula: ReadingFormula): ReadingCounts {
  const sentences = text.split(/[.!?:;…](?=\s|$)|\n/u).map((sentence) => sentence.match(/[\p{L}\p{M}]+(?:['’-][\p{L}\p{M}]+)*/gu) ?? [])
  const words = sentences.flat()
  return {
    words: words.length,
    sentences: sentences.filter((sentence) => sentence.length > 0).length,
    syllables: words.reduce((sum, word) => sum + countSyllables(word, formula), 0),
  }
}

/** Reading ease by the formula of the language (Flesch's for English), or null where there is none or no word. */
export function readingEase(counts: ReadingCounts, formula: ReadingFormula): number | null {
  if (formula === 'none' || counts.words === 0) return null
  return { 'flesch-kincaid': fleschEase, 'fernandez-huerta': fernandezHuertaEase, 'kandel-moles': kandelMolesEase }[formula](counts)
}

/** School grade of a text, rounded to a tenth. `leaveOut` are strings that are not our wording (names, addresses). */
export function readingGrade(text: string, formula: ReadingFormula, leaveOut: readonly string[] = []): number | null {
  const ours = leaveOut.reduce((rest, words) => rest.replaceAll(words, ' '), text)
  const counts = readingCounts(ours, formula)
  const ease = readingEase(counts, formula)
  if (ease === null) return null
  const grade = formula === 'flesch-kincaid' ? fleschKincaidGrade(counts) : gradeOfEase(ease)
  return Math.round(grade * 10) / 10 + 0 // no negative zero
}
