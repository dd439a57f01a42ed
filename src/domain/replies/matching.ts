import type { Step } from './pattern.ts'
import type { Token } from './tokens.ts'
import type { Language } from './vocabulary.ts'

const LONGEST_GAP = 3

/** A run of tokens (`from` inclusive, `to` exclusive) with a sense or the name of a class. */
export interface Span {
  sense: string
  from: number
  to: number
  whole: boolean
}

/** Where every word class occurs: for each position, class name → the ends of its runs. */
export type ClassSpans = Map<string, number[]>[]

export function findClasses(tokens: Token[], language: Language): ClassSpans {
  return tokens.map((token, at) => {
    const found = new Map<string, number[]>()
    for (const { name, words } of language.classes.get(token.word) ?? []) {
      if (!words.every((word, i) => tokens[at + i]?.word === word)) continue
      const ends = found.get(name)
      if (ends) ends.push(at + words.length)
      else found.set(name, [at + words.length])
    }
    return found
  })
}

/** Every pattern of the language that occurs in the text. */
export function findPhrases(tokens: Token[], classes: ClassSpans, language: Language): Span[] {
  const spans: Span[] = []
  for (let at = 0; at < tokens.length; at++) {
    const candidates = [...(language.byWord.get(tokens[at]!.word) ?? [])]
    for (const name of classes[at]!.keys()) candidates.push(...(language.byClass.get(name) ?? []))
    for (const { sense, steps, whole } of candidates) {
      const to = matchEnd(steps, 0, at, tokens, classes)
      if (to !== undefined) spans.push({ sense, from: at, to, whole })
    }
  }
  return spans
}

/** The longest end of `steps` from token `at`, or undefined. Work is bounded by the gaps, at most three words each. */
function matchEnd(steps: Step[], step: number, at: number, tokens: Token[], classes: ClassSpans): number | undefined {
  const wanted = steps[step]
  if (!wanted) return at
  if (at >= tokens.length) return undefined
  if (wanted.kind === 'gap') return matchGap(steps, step + 1, at, tokens, classes)
  if (step > 0 && tokens[at]!.breaks) return undefined
  if (wanted.kind === 'word') return tokens[at]!.word === wanted.word ? matchEnd(steps, step + 1, at + 1, tokens, classes) : undefined
  for (const end of classes[at]!.get(wanted.name) ?? []) {
    const to = matchEnd(steps, step + 1, end, tokens, classes)
    if (to !== undefined) return to
  }
  return undefined
}

function matchGap(steps: Step[], step: number, at: number, tokens: Token[], classes: ClassSpans): number | undefined {
  for (let skipped = 0; skipped <= LONGEST_GAP && at + skipped < tokens.length; skipped++) {
    const to = matchEnd(steps, step, at + skipped, tokens, classes)
    if (to !== undefined) return to
    if (tokens[at + skipped]!.breaks) return undefined
  }
  return undefined
}
