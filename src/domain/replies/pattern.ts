import { badInput } from '../failure.ts'
import { cleanText, tokenise } from './tokens.ts'

/** One step of a pattern: a word, a `<class>` of words, or `...` (up to three words of any kind). */
export type Step = { kind: 'word'; word: string } | { kind: 'class'; name: string } | { kind: 'gap' }

const PART = /\[[^\]]*\]|\([^)]*\)|<[^>]*>|\.\.\.|[^\s[\](<>)]+/g

/**
 * Reads a pattern as a translator writes it: `[my] <period> (came|started) ... today`.
 * `[x]` may be missing, `(a|b)` is a choice, `<name>` a word class, `...` up to three words. Brackets don't nest.
 *
 * @returns every sequence of steps that the pattern stands for.
 */
export function readPattern(pattern: string): Step[][] {
  let sequences: Step[][] = [[]]
  for (const part of pattern.match(PART) ?? []) {
    const choices = part.startsWith('[')
      ? ['', ...part.slice(1, -1).split('|')]
      : part.startsWith('(')
        ? part.slice(1, -1).split('|')
        : [part]
    const steps = choices.map((choice) => readSimple(choice))
    sequences = sequences.flatMap((sequence) => steps.map((more) => [...sequence, ...more]))
  }
  const written = sequences.filter((sequence) => sequence.length > 0)
  if (written.length === 0) badInput('pattern', `The pattern "${pattern}" has no words.`)
  return written
}

function readSimple(text: string): Step[] {
  return (text.match(/<[^>]*>|\.\.\.|[^\s<>]+/g) ?? []).flatMap((part): Step[] => {
    if (part === '...') return [{ kind: 'gap' }]
    if (part.startsWith('<')) return [{ kind: 'class', name: part.slice(1, -1) }]
    return tokenise(cleanText(part)).map((token) => ({ kind: 'word', word: token.word }))
  })
}
