import type { Token } from './tokens.ts'
import type { Language, Part, PatternNode } from './vocabulary.ts'

const LONGEST_GAP = 3

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
export type ClassRuns = ReadonlyMap<string, number[]>[]

const NUMBER = /^\d{1,4}$/
const ORDINAL = /^\d{1,2}(?:st|nd|rd|th|er|ere|eme|e|o|a|ro|do|to|й|го|ого|ше)$/
const CLOCK = /^\d{1,2}[:h]\d{0,2}$/
const DECIMAL = /^\d{2}\.\d$/
const NAME = /^\p{Lu}\p{Ll}+(?:['’]s)?$/u
const NONE: ReadonlyMap<string, number[]> = new Map()

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
  const first = token.word.charCodeAt(0)
  if (first >= 48 && first <= 57) {
    if (NUMBER.test(token.word)) return 'n'
    if (ORDINAL.test(token.word)) return 'nth'
    if (DECIMAL.test(token.word)) return 'decimal'
    return CLOCK.test(token.word) ? 'clock' : undefined
  }
  if (language.months.has(token.word)) return 'month'
  // A capital, not all capitals, and no word that the language knows: a name.
  return !language.known.has(token.word) && NAME.test(token.written) ? 'name' : undefined
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

/** Every pattern below `root` that occurs in the text. Work is bounded: a gap is at most three words. */
export function findPatterns<S extends string>(tokens: Token[], classes: ClassRuns, root: PatternNode<S>): Match<S>[] {
  const walker: Walker<S> = { tokens, classes, from: 0, matches: [] }
  for (walker.from = 0; walker.from < tokens.length; walker.from++) step(walker, root, walker.from)
  const { matches } = walker
  return matches.some((match) => match.part) ? wholeGroups(matches) : matches
}

interface Walker<S extends string> {
  tokens: Token[]
  classes: ClassRuns
  from: number
  matches: Match<S>[]
}

/** Follows the patterns that have come as far as `node`, before token `at`. `pause`: a comma may stand here. */
function walk<S extends string>(walker: Walker<S>, node: PatternNode<S>, at: number, pause: boolean): void {
  for (const { sense, whole, opens, part } of node.ends) {
    if (!opens || isOpening(walker, walker.from))
      walker.matches.push({ sense, from: walker.from, to: at, whole, ...(part && { part }) })
  }
  const token = walker.tokens[at]
  if (!token) return
  if (node.gap) skip(walker, node.gap, at)
  if (node.comma) walk(walker, node.comma, at, true)
  if (token.before <= (pause ? 1 : 0)) step(walker, node, at)
}

function step<S extends string>(walker: Walker<S>, node: PatternNode<S>, at: number): void {
  const byWord = node.words.get(walker.tokens[at]!.word)
  if (byWord) for (const next of byWord) walk(walker, next, at + 1, false)
  const here = walker.classes[at]!
  if (node.classes.size === 0 || here.size === 0) return
  // Whichever of the two lists is shorter is gone through: most nodes expect one class or two.
  for (const name of (node.classes.size < here.size ? node.classes : here).keys()) {
    const byClass = node.classes.get(name)
    const ends = byClass && here.get(name)
    if (ends) for (const end of ends) walk(walker, byClass, end, false)
  }
}

function skip<S extends string>(walker: Walker<S>, node: PatternNode<S>, at: number): void {
  for (let skipped = 0; skipped <= LONGEST_GAP; skipped++) {
    const token = walker.tokens[at + skipped]
    if (!token || token.before === 2) return
    walk(walker, node, at + skipped, true)
  }
}

/** Of `a & b` only what has all its parts. */
function wholeGroups<S extends string>(matches: Match<S>[]): Match<S>[] {
  const found = new Map<string, Set<number>>()
  for (const { part } of matches) if (part) found.set(part.group, (found.get(part.group) ?? new Set()).add(part.index))
  return matches.filter(({ part }) => !part || found.get(part.group)!.size === part.of)
}

const BEFORE_CLAUSE = ['filler', 'joint', 'day']

/** A clause begins here: after punctuation, a joining word, a greeting or a day. */
function isOpening<S extends string>({ tokens, classes }: Walker<S>, at: number): boolean {
  if (at === 0 || tokens[at]!.before > 0) return true
  for (let start = at - 1; start >= Math.max(0, at - 3); start--) {
    const found = classes[start]!
    if (BEFORE_CLAUSE.some((name) => found.get(name)?.includes(at))) return true
  }
  return false
}
