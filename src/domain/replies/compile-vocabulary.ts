import { badInput } from '../failure.ts'
import { readPattern, type Step } from './pattern.ts'
import { compileQuotes } from './quotes.ts'
import { tolerate } from './spelling.ts'
import { cleanText, foldWord, tokenise } from './tokens.ts'
import {
  DAY_KINDS,
  SENSES,
  type DayKind,
  type Language,
  type Pattern,
  type PatternNode,
  type Sense,
  type Vocabulary,
} from './vocabulary.ts'
import type { VocabularySource } from './vocabulary-source.ts'

/** Classes that the reader finds by itself. */
const OWN_CLASSES: readonly string[] = [
  'n',
  'nth',
  'clock',
  'decimal',
  'weekday',
  'month',
  'day',
  'past',
  'before',
  'ahead',
  'topic',
  'name',
  'cycle-day',
  'for-days',
  'days-ago',
  'day-of-month',
]

/** Prepares the vocabulary of all languages. @throws Failure `bad-input` naming the language and entry at fault. */
export function compileVocabulary(sources: VocabularySource[]): Vocabulary {
  const order = sources.map(compileLanguage)
  const words = new Map<string, number[]>()
  for (const [i, language] of order.entries())
    for (const word of new Set([...language.known, ...language.variants.keys()])) push(words, word, i)
  const languages = new Map(order.map((language) => [language.code, language]))
  return { languages, words, order, quotes: compileQuotes(sources) }
}

function compileLanguage(source: VocabularySource): Language {
  const language: Language = {
    code: source.language,
    known: new Set(),
    variants: new Map(),
    near: new Map(),
    classes: new Map(),
    days: newNode(),
    phrases: newNode(),
    values: new Map(),
    weekdays: new Map(),
    months: new Set(source.months.map(foldWord)),
    topics: new Map(),
  }
  addWords(language, source)
  addClasses(language, source)
  addPatterns(language, source)
  slim(language.days)
  slim(language.phrases)
  // Known words are never misspellings, so tolerance comes last.
  tolerate(language, source.tolerate.map(foldWord))
  return language
}

function addWords(language: Language, source: VocabularySource): void {
  for (const token of tokenise(cleanText(source.common))) language.known.add(token.word)
  for (const [right, wrong] of Object.entries(source.spellings)) {
    language.known.add(foldWord(right))
    // A frequent word is itself, even where it is also a common slip for another.
    for (const variant of wrong.map(foldWord))
      if (!language.known.has(variant)) language.variants.set(variant, foldWord(right))
  }
  for (const word of source.tolerate) language.known.add(foldWord(word))
  for (const month of language.months) language.known.add(month)
}

function addClasses(language: Language, source: VocabularySource): void {
  for (const [name, members] of Object.entries(source.classes))
    for (const member of members) addMember(language, name, member)
  const numbers = [
    ['n', source.numbers, language.values],
    ['nth', source.ordinals, language.values],
  ] as const
  for (const [name, words, values] of [...numbers, ['weekday', source.weekdays, language.weekdays] as const]) {
    for (const [word, value] of Object.entries(words)) {
      addMember(language, name, word)
      values.set(language.variants.get(foldWord(word)) ?? foldWord(word), value)
    }
  }
  for (const [topic, members] of Object.entries(source.topics)) {
    for (const member of members)
      for (const words of addMember(language, 'topic', member)) language.topics.set(words.join(' '), topic)
  }
}

function addMember(language: Language, name: string, member: string): string[][] {
  const runs = readPattern(member).flatMap(({ steps }) => spellOut(language, name, steps))
  for (const words of runs) {
    push(language.classes, words[0]!, { name, words })
    for (const word of words) language.known.add(word)
  }
  return runs
}

function spellOut(language: Language, name: string, steps: Step[]): string[][] {
  return steps.reduce<string[][]>(
    (runs, step) => {
      if (step.kind !== 'word')
        return badInput(
          `${language.code} classes.${name}`,
          'A class holds plain words: no <class> and no "..." inside it.',
        )
      return runs.flatMap((run) => [...step.words].map((word) => [...run, language.variants.get(word) ?? word]))
    },
    [[]],
  )
}

function addPatterns(language: Language, source: VocabularySource): void {
  const days = new Set<string>(DAY_KINDS)
  for (const [kind, patterns] of Object.entries(source.days)) {
    if (!days.has(kind))
      badInput(
        `${language.code} days.${kind}`,
        `There is no kind of day "${kind}". Use one of: ${DAY_KINDS.join(', ')}.`,
      )
    for (const pattern of patterns) addPattern(language, language.days, kind as DayKind, pattern, false, source)
  }
  for (const [section, whole] of [
    ['phrases', false],
    ['whole', true],
  ] as const) {
    for (const [sense, patterns] of Object.entries(source[section])) {
      if (!SENSES.has(sense))
        badInput(
          `${language.code} ${section}.${sense}`,
          `There is no sense "${sense}". Use one of: ${[...SENSES].join(', ')}.`,
        )
      for (const pattern of patterns) addPattern(language, language.phrases, sense as Sense, pattern, whole, source)
    }
  }
}

function addPattern<S extends string>(
  language: Language,
  root: PatternNode<S>,
  sense: S,
  pattern: string,
  whole: boolean,
  source: VocabularySource,
): void {
  const parts = pattern.split(' & ')
  for (const [place, written] of parts.entries()) {
    const part = parts.length > 1 ? { part: { group: `${sense}: ${pattern}`, index: place, of: parts.length } } : {}
    for (const { opens, steps } of readPattern(written))
      addSequence(language, root, steps, { sense, whole, opens, ...part }, source)
  }
}

function addSequence<S extends string>(
  language: Language,
  root: PatternNode<S>,
  steps: Step[],
  end: Pattern<S>,
  source: VocabularySource,
): void {
  if (steps[0]!.kind === 'gap' || steps[0]!.kind === 'comma')
    badInput(`${language.code} ${end.sense}`, 'A pattern begins with "..." or a comma. Begin with a word.')
  let node = root
  for (const written of steps) {
    const step = respelt(written, language)
    if (step.kind === 'word') for (const word of step.words) language.known.add(word)
    if (step.kind === 'class' && !(step.name in source.classes) && !OWN_CLASSES.includes(step.name)) {
      badInput(`${language.code} ${end.sense}`, `A pattern uses <${step.name}>, which is not among the classes.`)
    }
    node = nextNode(node, step)
  }
  const isSame = (other: Pattern<S>) =>
    other.sense === end.sense && other.whole === end.whole && other.opens === end.opens && !end.part
  if (!node.ends.some(isSame)) node.ends.push(end)
}

/** Patterns are respelt as texts are, so that a form that counts as a slip for another may still be written in them. */
function respelt(step: Step, language: Language): Step {
  return step.kind === 'word'
    ? { kind: 'word', words: new Set([...step.words].map((word) => language.variants.get(word) ?? word)) }
    : step
}

function newNode<S extends string>(): PatternNode<S> {
  return { ends: [], words: new Map(), classes: new Map(), choices: new Map() }
}

/** Shared by all nodes that have none. */
const [NO_ENDS, NO_WAYS] = [Object.freeze([]) as never, new Map() as never]

/**
 * Lets go of what is needed for compiling only. Of the half a million lists of all languages most would be empty, and
 * took 150 MB.
 */
function slim<S extends string>(node: PatternNode<S>): void {
  for (const next of [...node.choices.values(), ...node.classes.values(), node.gap, node.comma]) if (next) slim(next)
  node.choices = NO_WAYS
  if (node.words.size === 0) node.words = NO_WAYS
  if (node.classes.size === 0) node.classes = NO_WAYS
  if (node.ends.length === 0) node.ends = NO_ENDS
}

function nextNode<S extends string>(node: PatternNode<S>, step: Step): PatternNode<S> {
  if (step.kind === 'gap') return (node.gap ??= newNode())
  if (step.kind === 'comma') return (node.comma ??= newNode())
  if (step.kind === 'class') return getOr(node.classes, step.name, newNode<S>)
  const key = [...step.words].sort().join(' ')
  const known = node.choices.get(key)
  if (known) return known
  const next = newNode<S>()
  node.choices.set(key, next)
  for (const word of step.words) push(node.words, word, next)
  return next
}

function getOr<K, V>(map: Map<K, V>, key: K, make: () => V): V {
  const value = map.get(key) ?? make()
  map.set(key, value)
  return value
}

function push<K, V>(map: Map<K, V[]>, key: K, value: V): void {
  const list = map.get(key)
  if (list) list.push(value)
  else map.set(key, [value])
}
