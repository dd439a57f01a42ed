import { badInput } from '../failure.ts'
import { cleanText, tokenise } from './tokens.ts'

/**
 * One step of a pattern: one of some words, a `<class>` of words, `...` (up to three words of any kind), or `,` (one
 * may stand there).
 */
export type Step =
  { kind: 'word'; words: Set<string> } | { kind: 'class'; name: string } | { kind: 'gap' } | { kind: 'comma' }

/** A way through a pattern. */
export interface Sequence {
  /** It must open a clause (written `^` before it): "period started", but not "exam period started". */
  opens: boolean
  steps: Step[]
}

const LEXEME = /[[\]()|^]|<[^<>]*>|\.\.\.|[^\s[\]()|<>^]+/g
const MOST_WAYS = 2000

/**
 * Reads a pattern as a translator writes it: `[my] <period> (came|has started) ... today`.
 * `[x]` may be missing, `(a|b)` is a choice, `<name>` a word class, `...` up to three words, `,` allows a comma, `^` at
 * the front asks for the beginning of a clause. Brackets may stand inside one another.
 *
 * @returns every way through the pattern; choices between single words stay one step.
 * @throws Failure `bad-input` when brackets don't match, no word is left, or there are more than 2,000 ways.
 */
export function readPattern(pattern: string): Sequence[] {
  const lexemes = pattern.match(LEXEME) ?? []
  const opens = lexemes[0] === '^'
  const reader = { pattern, lexemes, at: opens ? 1 : 0 }
  const ways = readChoices(reader)
  if (reader.at < lexemes.length) badInput('pattern', `The brackets of "${pattern}" don't match.`)
  const written = ways.map(withoutTail).filter((steps) => steps.length > 0)
  if (written.length === 0) badInput('pattern', `The pattern "${pattern}" has no words. Write at least one.`)
  return written.map((steps) => ({ opens, steps }))
}

/** "..." or a comma at the end asks for nothing. */
function withoutTail(steps: Step[]): Step[] {
  const end = steps.findLastIndex((step) => step.kind === 'word' || step.kind === 'class')
  return steps.slice(0, end + 1)
}

interface PatternReader {
  pattern: string
  lexemes: string[]
  at: number
}

/** `a|b|c`, up to a closing bracket or the end. */
function readChoices(reader: PatternReader): Step[][] {
  const choices = readSequence(reader)
  while (reader.lexemes[reader.at] === '|') {
    reader.at++
    choices.push(...readSequence(reader))
  }
  return joinWords(choices)
}

function readSequence(reader: PatternReader): Step[][] {
  let ways: Step[][] = [[]]
  for (
    let next = reader.lexemes[reader.at];
    next !== undefined && !')]|'.includes(next);
    next = reader.lexemes[reader.at]
  ) {
    reader.at++
    const more = next === '(' || next === '[' ? readBracket(reader, next) : [readSimple(next)]
    ways = ways.flatMap((way) => more.map((steps) => [...way, ...steps]))
    if (ways.length > MOST_WAYS)
      badInput('pattern', `The pattern "${reader.pattern}" stands for too many phrases. Split it.`)
  }
  return ways
}

function readBracket(reader: PatternReader, opening: string): Step[][] {
  const choices = readChoices(reader)
  if (reader.lexemes[reader.at] !== (opening === '(' ? ')' : ']'))
    badInput('pattern', `The brackets of "${reader.pattern}" don't match.`)
  reader.at++
  return opening === '(' ? choices : [[], ...choices]
}

function readSimple(lexeme: string): Step[] {
  if (lexeme === '...') return [{ kind: 'gap' }]
  if (lexeme === ',') return [{ kind: 'comma' }]
  if (lexeme.startsWith('<')) return [{ kind: 'class', name: lexeme.slice(1, -1) }]
  return tokenise(cleanText(lexeme)).map((token) => ({ kind: 'word', words: new Set([token.word]) }))
}

/** Puts the choices that are one word each into one step, so that `(a|b|c) (d|e)` is one way and not six. */
function joinWords(choices: Step[][]): Step[][] {
  const single = new Set<string>()
  const others: Step[][] = []
  for (const choice of choices) {
    const [step] = choice
    if (choice.length === 1 && step!.kind === 'word') for (const word of step!.words) single.add(word)
    else others.push(choice)
  }
  return single.size > 0 ? [[{ kind: 'word', words: single }], ...others] : others
}
