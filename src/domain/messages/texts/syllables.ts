import type { ReadingFormula } from './library.ts'

const COUNT: Record<ReadingFormula, (word: string) => number> = {
  'flesch-kincaid': english,
  'fernandez-huerta': spanish,
  'kandel-moles': french,
  none: () => 1,
}

/** Spoken syllables of one word by the rules of the formula's language; at least one. */
export function countSyllables(word: string, formula: ReadingFormula): number {
  return Math.max(1, COUNT[formula](word.toLowerCase()))
}

// Words that health texts use and the rules below get wrong; counts as in any dictionary.
const ENGLISH_EXCEPTIONS: Record<string, number> = {
  create: 2,
  idea: 3,
  area: 3,
  being: 2,
  doing: 2,
  going: 2,
  seeing: 2,
  quiet: 2,
  science: 2,
  someone: 2,
  something: 2,
  sometimes: 2,
  somewhere: 2,
  therefore: 2,
  wednesday: 2,
  every: 2,
  evening: 2,
  business: 2,
  safety: 2,
  rely: 2,
}

function english(word: string): number {
  const known = ENGLISH_EXCEPTIONS[word]
  if (known) return known
  const stem = word
    .replace(/['’-]/g, '')
    .replace(/(?<=[^aeiouyl])e$|(?<=[aeiouy]l)e$/, '') // a silent e, but ta-ble
    .replace(/(?<=[^td])ed$/, 'd') // booked, but wanted
    .replace(/(?<=[^aeiouyscxzg])es$/, 's') // times, but nurses
    .replace(/(?<=[^aeiouy])ely$/, 'ly')
  const groups = stem.match(/[aeiouy]+/g) ?? []
  const hiatus = stem.match(/ia(?!l|n)|io(?!n|u)|(?<![tcxg])ious|(?<![qg])ua|[aeiouy]ing$/g) ?? []
  return groups.length + hiatus.length
}

/** Weak vowels (i, u) join their neighbour unless accented; two strong vowels make two syllables. */
function spanish(word: string): number {
  const plain = word
    .replace(/qu|gu(?=[eiéí])/g, 'k')
    .replace(/y$/, 'i')
    .replace(/y/g, 'k') // a consonant elsewhere
  return (plain.match(/[iuü]?[aeoáéó][iuü]?|[íú]|[iuü]+/g) ?? []).length
}

const FRENCH_VOWELS = 'aeiouyéèêëàâîïôûùüœæ'
const FRENCH_MUTE_E = new RegExp(`(?<=[${FRENCH_VOWELS}].*[^${FRENCH_VOWELS}]|[éiu])es?$`)
const FRENCH_NUCLEI = new RegExp(`é(?=[${FRENCH_VOWELS}])|[${FRENCH_VOWELS}]+`, 'g')
/** Read as the words they stand for. */
const FRENCH_EXCEPTIONS: Record<string, number> = { rdv: 3 }

/** Vowel groups, a mute e at the end left out (règles = 1); é before a vowel is a syllable of its own (ré-elle). */
function french(word: string): number {
  const known = FRENCH_EXCEPTIONS[word]
  if (known) return known
  const plain = word
    .replace(/^(?:[ldjmtscn]|qu)['’]/, '')
    .replace(/qu/g, 'k')
    .replace(/gu(?=[eiéèê])/g, 'g')
    .replace(FRENCH_MUTE_E, '')
  return (plain.match(FRENCH_NUCLEI) ?? []).length
}
