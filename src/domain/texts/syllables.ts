import type { ReadingFormula } from './library.ts'

/** Spoken syllables of one word by the rules of the formula's language; at least one. */
export function countSyllables(word: string, formula: ReadingFormula): number {
  const plain = word.toLowerCase()
  const count = { 'flesch-kincaid': english, 'fernandez-huerta': spanish, 'kandel-moles': french, none: () => 1 }[formula](plain)
  return Math.max(1, count)
}

// What the rules below get wrong, among words that health texts use; counts as in any dictionary.
const ENGLISH_EXCEPTIONS: Record<string, number> = {
  clinic: 2, create: 2, idea: 3, area: 3, being: 2, doing: 2, going: 2, seeing: 2, quiet: 2, science: 2, real: 1, someone: 2,
  something: 2, sometimes: 2, somewhere: 2, therefore: 2, wednesday: 2, lovemaking: 3, microbicide: 4, spermicide: 3, urgent: 2,
} // prettier-ignore

function english(word: string): number {
  const known = ENGLISH_EXCEPTIONS[word]
  if (known) return known
  const stem = word
    .replace(/['’-]/g, '')
    .replace(/(?<=[^aeiouy])e$/, (e, at: number) => (/[^aeiouy]l$/.test(word.slice(0, at)) ? e : '')) // silent e, but ta-ble
    .replace(/(?<![td])ed$/, 'd') // booked, but wanted
    .replace(/(?<=[^aeiouyscxzg])es$/, 's') // times, but nurses
    .replace(/(?<=[bcdfghkmnprstvwz])ely$/, 'ly')
  return (stem.match(/[aeiouy]+/g) ?? []).length + (stem.match(/ia(?!l|n)|io(?!n|u)|eo(?!u)|ua[^r]|ying$/g) ?? []).length
}

/** Weak vowels (i, u) join their neighbour unless accented; two strong vowels make two syllables. */
function spanish(word: string): number {
  const plain = word.replace(/qu|gu(?=[eiéí])/g, 'k').replace(/y$/, 'i').replace(/y(?=[^aeiouáéíóú])/g, 'i')
  const nuclei = plain.match(/[iuü]?[aeoáéó][iuü]?|[íú]|[iuü]+/g) ?? []
  return nuclei.length
}

/** Vowel groups; a mute e at the end doesn't count (vous prenez = 2, règles = 1). */
function french(word: string): number {
  const plain = word.replace(/^(?:[ldjmtscn]|qu)['’]/, '').replace(/qu/g, 'k').replace(/gu(?=[eiéèê])/g, 'g')
  const mute = plain.replace(/(?<=[^aeiouyéèêàâîïôûùœ])(?:es?|ent)$/, (end, at: number) => (hasVowel(plain.slice(0, at)) && end !== 'ent' ? '' : end))
  return (mute.match(/[aeiouyéèêëàâîïôûùüœæ]+/g) ?? []).length
}

function hasVowel(word: string): boolean {
  return /[aeiouyéèêëàâîïôûùüœæ]/.test(word)
}
