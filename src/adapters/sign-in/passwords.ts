import { hash, verify } from '@node-rs/argon2'
import { badInput } from '../../domain/failure.ts'
import { KNOWN_PHRASES } from './known-phrases.ts'

/** argon2id (the library's default algorithm) at OWASP's first recommended setting: 19 MiB, two passes, one lane. */
const COST = { memoryCost: 19_456, timeCost: 2, parallelism: 1 }
const SHORTEST = 12
const LONGEST = 128
const SHORTEST_REST = 8
/** Guesses a password must withstand, as zxcvbn estimates them: 10^8 and more. */
const LOWEST_SCORE = 3

export function hashPassword(password: string): Promise<string> {
  return hash(password.normalize('NFKC'), COST)
}

/** Hashed once: a name nobody has must take as long as one that somebody has. */
let nobodys: Promise<string> | undefined

/** @param kept the hash on record; null = nobody's, which takes as long and is never right. */
export async function passwordFits(kept: string | null, password: string): Promise<boolean> {
  nobodys ??= hashPassword('nobody has this password')
  const fits = await verify(kept ?? (await nobodys), password.slice(0, LONGEST).normalize('NFKC'))
  return fits && kept !== null
}

/**
 * Refuses passwords that are short, common or made of what everybody knows about the person. No rules about kinds of
 * signs (OWASP ASVS 5.0, V6.2). @throws bad-input on `password`
 */
export async function checkPassword(password: string, known: readonly string[]): Promise<void> {
  if (password.length < SHORTEST)
    badInput('password', `Use at least ${SHORTEST} characters; a few unrelated words are easy to keep in mind.`)
  if (password.length > LONGEST) badInput('password', `Use at most ${LONGEST} characters.`)
  const strength = await estimator()
  const guessed =
    restWithout(password, [...known, 'daysix']).length < SHORTEST_REST ||
    restWithoutPhrases(password).length < SHORTEST_REST ||
    strength(password, known) < LOWEST_SCORE
  if (guessed)
    badInput(
      'password',
      'This password is easy to guess. Use four or more unrelated words, or let a password manager make one.',
    )
}

/** What is left of a password once the words everybody knows about the person are taken out. */
function restWithout(password: string, known: readonly string[]): string {
  const words = known.flatMap((text) => text.toLowerCase().split(/[^\p{L}\p{N}]+/u)).filter((word) => word.length > 2)
  return words.reduce((rest, word) => rest.replaceAll(word, ''), password.toLowerCase())
}

/** Signs that stand for letters, for everybody who guesses too. */
const LETTERS: Record<string, string> = { 0: 'o', 1: 'l', 3: 'e', 4: 'a', 5: 's', 7: 't', '@': 'a', $: 's', '!': 'i' }
const plainly = (text: string) =>
  text
    .normalize('NFKC')
    .toLowerCase()
    .replaceAll(/[0134457@$!]/g, (sign) => LETTERS[sign]!)
    .replaceAll(/[^\p{L}\p{N}]/gu, '')

/** What is left once phrases that everybody knows are taken out, however they are spaced, capitalised or dressed up. */
function restWithoutPhrases(password: string): string {
  return KNOWN_PHRASES.map(plainly).reduce((rest, phrase) => rest.replaceAll(phrase, ''), plainly(password))
}

/** The dictionaries of common passwords take a while to load and are needed only when one is chosen. */
async function estimator(): Promise<(password: string, known: readonly string[]) => number> {
  const [{ ZxcvbnFactory }, { adjacencyGraphs, dictionary }, english] = await Promise.all([
    import('@zxcvbn-ts/core'),
    import('@zxcvbn-ts/language-common'),
    import('@zxcvbn-ts/language-en'),
  ])
  const factory = new ZxcvbnFactory({ dictionary: { ...dictionary, ...english.dictionary }, graphs: adjacencyGraphs })
  return (password, known) => factory.check(password, [...known, 'daysix']).score
}
