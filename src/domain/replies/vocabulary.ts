import { readPattern, type Step } from './pattern.ts'
import { foldWord } from './tokens.ts'

/** What `templates/<language>/replies.yaml` holds. Patterns are written as `readPattern` describes. */
export interface VocabularySource {
  language: string
  /** Right spelling → the ways it is misspelt or shortened. */
  spellings: Record<string, string[]>
  /** Word classes, used as `<name>`. */
  classes: Record<string, string[]>
  /** Sense (a meaning or a helper of one) → patterns found anywhere. */
  phrases: Record<string, string[]>
  /** Sense → patterns that count only when nothing else of weight stands in the text. */
  whole: Record<string, string[]>
}

export interface Pattern {
  sense: string
  steps: Step[]
  whole: boolean
}

/** One language, ready for matching. */
export interface Language {
  code: string
  spellings: Map<string, string>
  classes: Map<string, { name: string; words: string[] }[]>
  byWord: Map<string, Pattern[]>
  byClass: Map<string, Pattern[]>
  known: Set<string>
}

export interface Vocabulary {
  languages: Map<string, Language>
}

/** Prepares the vocabulary files of all languages for matching. */
export function compileVocabulary(sources: VocabularySource[]): Vocabulary {
  return { languages: new Map(sources.map((source) => [source.language, compileLanguage(source)])) }
}

function compileLanguage(source: VocabularySource): Language {
  const language: Language = {
    code: source.language, spellings: new Map(), classes: new Map(), byWord: new Map(), byClass: new Map(), known: new Set(),
  }
  for (const [right, wrong] of Object.entries(source.spellings)) for (const w of wrong) language.spellings.set(foldWord(w), foldWord(right))
  for (const [name, members] of Object.entries(source.classes)) for (const member of members) addMember(language, name, member)
  for (const [sense, patterns] of Object.entries(source.phrases)) for (const p of patterns) addPattern(language, sense, p, false)
  for (const [sense, patterns] of Object.entries(source.whole)) for (const p of patterns) addPattern(language, sense, p, true)
  return language
}

function addMember(language: Language, name: string, member: string): void {
  for (const steps of readPattern(member)) {
    const words = steps.flatMap((step) => (step.kind === 'word' ? [step.word] : []))
    push(language.classes, words[0]!, { name, words })
    for (const word of words) language.known.add(word)
  }
}

function addPattern(language: Language, sense: string, pattern: string, whole: boolean): void {
  for (const steps of readPattern(pattern)) {
    const first = steps[0]!
    if (first.kind === 'word') push(language.byWord, first.word, { sense, steps, whole })
    if (first.kind === 'class') push(language.byClass, first.name, { sense, steps, whole })
    for (const step of steps) if (step.kind === 'word') language.known.add(step.word)
  }
}

function push<K, V>(map: Map<K, V[]>, key: K, value: V): void {
  const list = map.get(key)
  if (list) list.push(value)
  else map.set(key, [value])
}
