import { foldWord, type Token } from './tokens.ts'

/** What is needed to put one language's misspelt words right. */
export interface Spelling {
  /** Every word that the vocabulary uses, as it should be, and frequent words of the language. */
  known: Set<string>
  /** Misspelling or shorthand → right word. */
  variants: Map<string, string>
  /**
   * A word with one letter left out → the words, long enough to be recognised with one letter wrong, that it may come
   * from.
   */
  near: Map<string, string[]>
}

const MIN_TOLERATED = 5

// Letters of other alphabets that look like Latin ones, and digits put in for letters.
const LOOKALIKE: Record<string, string> = {
  а: 'a',
  в: 'b',
  с: 'c',
  е: 'e',
  н: 'h',
  і: 'i',
  ј: 'j',
  к: 'k',
  м: 'm',
  о: 'o',
  р: 'p',
  ѕ: 's',
  т: 't',
  у: 'y',
  х: 'x',
  ѵ: 'v',
  α: 'a',
  β: 'b',
  ε: 'e',
  ι: 'i',
  κ: 'k',
  ο: 'o',
  ρ: 'p',
  τ: 't',
  υ: 'u',
  χ: 'x',
  ν: 'v',
  η: 'n',
  ѡ: 'w',
  ԁ: 'd',
  ո: 'n',
  օ: 'o',
  ս: 'u',
  '0': 'o',
  '1': 'i',
  '3': 'e',
  '4': 'a',
  '5': 's',
  '7': 't',
}
const NEEDS_LATIN = /[^a-z]/

/** The word that a token most likely stands for. Unknown words come back as they are. */
export function rightWord(word: string, spelling: Spelling): string {
  const variant = spelling.variants.get(word)
  if (variant !== undefined) return variant
  if (spelling.known.has(word)) return word
  return undisguised(word, spelling) ?? nearWord(word, spelling) ?? word
}

/** Words disguised by repeated letters ("stoppp"), foreign letters ("ЅТОР") or digits ("st0p"). */
function undisguised(word: string, spelling: Spelling): string | undefined {
  for (const plain of plainForms(word)) {
    if (spelling.known.has(plain)) return plain
    const variant = spelling.variants.get(plain)
    if (variant !== undefined) return variant
  }
  return undefined
}

function plainForms(word: string): string[] {
  const forms: string[] = []
  const latin =
    NEEDS_LATIN.test(word) && /^\p{L}/u.test(word)
      ? Array.from(word, (letter) => LOOKALIKE[letter] ?? letter).join('')
      : word
  if (latin !== word && !NEEDS_LATIN.test(latin)) forms.push(latin)
  if (/(.)\1\1/.test(latin)) forms.push(latin.replace(/(.)\1\1+/g, '$1$1'), latin.replace(/(.)\1+/g, '$1'))
  return forms
}

/** A long word with one letter wrong, missing, doubled or swapped, and the first letter right. */
function nearWord(word: string, spelling: Spelling): string | undefined {
  if (word.length < MIN_TOLERATED || word.length > 20) return undefined
  for (const shorter of [word, ...withoutOne(word)]) {
    const found = spelling.near.get(shorter)?.find((right) => right[0] === word[0] && isOneOff(word, right))
    if (found !== undefined) return found
  }
  return undefined
}

/** Fills `near` for the words that may be written with one letter wrong. */
export function tolerate(spelling: Spelling, words: Iterable<string>): void {
  for (const right of words) {
    for (const shorter of [right, ...withoutOne(right)]) {
      const list = spelling.near.get(shorter)
      if (!list) spelling.near.set(shorter, [right])
      else if (!list.includes(right)) list.push(right)
    }
  }
}

function withoutOne(word: string): string[] {
  return Array.from({ length: word.length }, (_, i) => word.slice(0, i) + word.slice(i + 1))
}

/** One letter changed, added, missing, or two neighbours swapped (Damerau distance at most 1). */
function isOneOff(a: string, b: string): boolean {
  let start = 0
  while (start < a.length && a[start] === b[start]) start++
  const restA = a.slice(start)
  const restB = b.slice(start)
  if (restA.slice(1) === restB.slice(1) || restA.slice(1) === restB || restA === restB.slice(1)) return true
  return restA[0] === restB[1] && restA[1] === restB[0] && restA.slice(2) === restB.slice(2)
}

const LONE_LETTER = /^[jlmntsdcqi]$/
// "d'arrêter", "l'examen": where the whole is no word of the vocabulary, its two parts may be.
const ELIDED = /^(\p{L}{1,2})['’](\p{L}{2,})$/u
const GLUED = /^(\d{1,3})(\p{L}+)$/u

/**
 * The tokens in the language's own spelling: misspellings put right, "j ai" and "don t" joined, "3days" parted,
 * letters spaced out ("s t o p") joined, emoji that the language does not use left out.
 */
export function respell(tokens: Token[], spelling: Spelling): Token[] {
  const result: Token[] = []
  for (const token of joinSpaced(tokens)) {
    const last = result.at(-1)
    const joined = last && joinedWord(last, token, spelling)
    if (last && joined !== undefined) {
      result[result.length - 1] = { ...last, word: joined, written: `${last.written} ${token.written}` }
      continue
    }
    for (const part of partGlued(token, spelling)) result.push(part)
  }
  return result
}

/** "don t" is "dont", but "i ll" is not "ill". */
function joinedWord(last: Token, token: Token, spelling: Spelling): string | undefined {
  if (token.before > 0 || !(LONE_LETTER.test(token.word) || LONE_LETTER.test(last.word))) return undefined
  return [`${last.word}'${token.word}`, last.word + token.word].find((word) => spelling.known.has(word))
}

function partGlued(token: Token, spelling: Spelling): Token[] {
  const word = rightWord(token.word, spelling)
  if (!spelling.known.has(word)) {
    if (/^\p{Extended_Pictographic}/u.test(word) && !/^\d/.test(word)) return []
    const elided = ELIDED.exec(token.written)
    const rest = elided ? rightWord(foldWord(elided[2]!), spelling) : ''
    if (elided && spelling.known.has(rest)) {
      return [
        { ...token, word: foldWord(elided[1]!) },
        { ...token, word: rest, written: '', before: 0 },
      ]
    }
    const glued = GLUED.exec(token.word)
    const unit = glued ? rightWord(glued[2]!, spelling) : ''
    if (glued && spelling.known.has(unit))
      return [
        { ...token, word: glued[1]! },
        { ...token, word: unit, written: '', before: 0 },
      ]
  }
  return [word === token.word ? token : { ...token, word }]
}

/** "S T O P" and "s.t.o.p" become one token: four or more single letters in a row. */
function joinSpaced(tokens: Token[]): Token[] {
  if (!tokens.some((token, i) => i > 2 && [0, 1, 2, 3].every((back) => isLetter(tokens[i - back]!)) && token))
    return tokens
  const result: Token[] = []
  for (let i = 0; i < tokens.length; i++) {
    let end = i
    while (end < tokens.length && isLetter(tokens[end]!)) end++
    if (end - i < 4) {
      result.push(tokens[i]!)
      continue
    }
    const run = tokens.slice(i, end)
    result.push({
      ...tokens[i]!,
      word: run.map((token) => token.word).join(''),
      written: run.map((token) => token.written).join(' '),
    })
    i = end - 1
  }
  return result
}

function isLetter(token: Token): boolean {
  return token.word.length === 1 && /\p{L}/u.test(token.word)
}
