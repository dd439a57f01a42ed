import type { ClassRuns, Run } from './matching.ts'
import type { Token } from './tokens.ts'
import type { Language } from './vocabulary.ts'

/** What a number is read from. */
export interface Numbered {
  tokens: Token[]
  classes: ClassRuns
  language: Language
}

/**
 * The number told in a run: of several the last ("a couple"), undefined without one. Only a word counted as a
 * number is one.
 */
export function numberIn(run: Run, { tokens, classes, language }: Numbered): number | undefined {
  let number: number | undefined
  for (let at = run.from; at < run.to; at++) {
    if (classes[at]!.has('n') || classes[at]!.has('nth')) number = valueOf(tokens[at]!.word, language)
    else if (GLUED.test(tokens[at]!.word)) number = Number.parseInt(tokens[at]!.word.replace(/^\D+/, ''), 10)
  }
  return number
}

/** "cd1", "j3": a numbered day of the cycle in one word. */
const GLUED = /^\p{L}{1,2}\d{1,2}$/u

export function valueOf(word: string, language: Language): number | undefined {
  return /^\d/.test(word) ? Number.parseInt(word, 10) : language.values.get(word)
}
