/** Part of a word: marks of vowels and stress, and the apostrophe of Ukrainian, belong to it. */
const INSIDE = '[\\p{L}\\p{M}\\p{N}\u2019]'

/**
 * Puts what is to be said in the place of words that would be said wrong, as whole words, between the tags of a
 * document of SSML.
 */
export function respeller(spoken: Readonly<Record<string, string>> = {}): (document: string) => string {
  const words = Object.keys(spoken)
  if (words.length === 0) return (document) => document
  const any = new RegExp(`(?<!${INSIDE})(?:${words.join('|')})(?!${INSIDE})`, 'giu')
  // A space after phonemes, or the engine takes a tag that follows for words.
  const say = (word: string) => `${spoken[word.toLowerCase()] ?? word} `
  return (document) => document.replace(/>[^<]+/g, (text) => text.replace(any, say))
}
