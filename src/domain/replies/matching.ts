import type { Step } from './pattern.ts'
import type { Token } from './tokens.ts'
import type { Language, Part, Pattern, PatternIndex } from './vocabulary.ts'

const LONGEST_GAP = 3
/** Steps after which a comma may stand. */
const PAUSES = new Set<Step['kind']>(['gap', 'comma'])

/** A run of tokens, `from` inclusive, `to` exclusive. */
export interface Run {
  from: number
  to: number
}

/** A pattern found in the text. */
export interface Match<S extends string> extends Run {
  sense: S
  whole: boolean
  /** It is one part of `a & b`: holds only when all parts of the group are in the text. */
  part?: Part
}

/** Where word classes occur: for each position, class name → the ends of its runs, longest first. */
export type ClassRuns = Map<string, number[]>[]

const NUMBER = /^\d{1,4}$/
const ORDINAL = /^\d{1,2}(?:st|nd|rd|th|er|ere|eme|e|o|a|ro|do|to|й|го|ого|ше)$/
const CLOCK = /^\d{1,2}[:h]\d{0,2}$/
const NONE: Map<string, number[]> = new Map()

/** Finds the members of every word class of the language. */
export function findClasses(tokens: Token[], language: Language): ClassRuns {
  return tokens.map((token, at) => {
    const members = language.classes.get(token.word)
    const own = ownClass(token, language)
    if (!members && !own) return NONE
    const found = new Map<string, number[]>()
    for (const { name, words } of members ?? []) if (standsAt(words, tokens, at)) addRun(found, name, at + words.length)
    if (own) addRun(found, own, at + 1)
    return found
  })
}

function ownClass(token: Token, language: Language): string | undefined {
  if (NUMBER.test(token.word)) return 'n'
  if (ORDINAL.test(token.word)) return 'nth'
  if (CLOCK.test(token.word)) return 'clock'
  if (language.months.has(token.word)) return 'month'
  // A capital, not all capitals, and no word that the language knows: a name.
  if (!language.known.has(token.word) && /^\p{Lu}\p{Ll}+$/u.test(token.written)) return 'name'
  return undefined
}

function standsAt(words: string[], tokens: Token[], at: number): boolean {
  for (let i = 1; i < words.length; i++) {
    const token = tokens[at + i]
    if (token?.word !== words[i] || token!.before > 0) return false
  }
  return true
}

/** Notes that a run of class `name` ends before token `end`. */
export function addRun(found: Map<string, number[]>, name: string, end: number): void {
  const ends = found.get(name)
  if (ends) {
    ends.push(end)
    ends.sort((a, b) => b - a)
  } else found.set(name, [end])
}

/** Every pattern of the index that occurs in the text. */
export function findPatterns<S extends string>(tokens: Token[], classes: ClassRuns, index: PatternIndex<S>): Match<S>[] {
  const matches: Match<S>[] = []
  const tryAll = (patterns: Pattern<S>[] | undefined, at: number) => {
    for (const { sense, opens, steps, whole, part } of patterns ?? []) {
      if (opens && !isOpening(tokens, classes, at)) continue
      const to = matchEnd(steps, 0, at, tokens, classes)
      if (to !== undefined) matches.push({ sense, from: at, to, whole, ...(part && { part }) })
    }
  }
  for (let at = 0; at < tokens.length; at++) {
    tryAll(index.byWord.get(tokens[at]!.word), at)
    for (const name of classes[at]!.keys()) tryAll(index.byClass.get(name), at)
  }
  return matches.some((match) => match.part) ? matches.filter((match) => isWholeGroup(match, matches)) : matches
}

function isWholeGroup<S extends string>(match: Match<S>, matches: Match<S>[]): boolean {
  if (!match.part) return true
  const { group, of } = match.part
  return new Set(matches.flatMap((other) => (other.part?.group === group ? [other.part.index] : []))).size === of
}

/** A clause begins here: after punctuation, a joining word or a greeting. */
function isOpening(tokens: Token[], classes: ClassRuns, at: number): boolean {
  if (at === 0 || tokens[at]!.before > 0) return true
  for (let start = at - 1; start >= Math.max(0, at - 3); start--) {
    const found = classes[start]!
    if (['filler', 'joint', 'day'].some((name) => found.get(name)?.includes(at))) return true
  }
  return false
}

/** Where `steps` from `step` on, laid at token `at`, end; undefined when they don't fit. Bounded: a gap is at most three words. */
function matchEnd(steps: Step[], step: number, at: number, tokens: Token[], classes: ClassRuns): number | undefined {
  const wanted = steps[step]
  if (!wanted) return at
  const token = tokens[at]
  if (!token) return undefined
  if (wanted.kind === 'gap') return matchGap(steps, step + 1, at, tokens, classes)
  if (wanted.kind === 'comma') return matchEnd(steps, step + 1, at, tokens, classes)
  if (step > 0 && token.before > (PAUSES.has(steps[step - 1]!.kind) ? 1 : 0)) return undefined
  if (wanted.kind === 'word') return wanted.words.has(token.word) ? matchEnd(steps, step + 1, at + 1, tokens, classes) : undefined
  for (const end of classes[at]!.get(wanted.name) ?? []) {
    const to = matchEnd(steps, step + 1, end, tokens, classes)
    if (to !== undefined) return to
  }
  return undefined
}

function matchGap(steps: Step[], step: number, at: number, tokens: Token[], classes: ClassRuns): number | undefined {
  for (let skipped = 0; skipped <= LONGEST_GAP; skipped++) {
    const token = tokens[at + skipped]
    if (!token || token.before === 2) return undefined
    const to = matchEnd(steps, step, at + skipped, tokens, classes)
    if (to !== undefined) return to
  }
  return undefined
}
