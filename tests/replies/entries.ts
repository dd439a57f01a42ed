import type { VocabularySource } from '../../src/domain/replies/vocabulary-source.ts'
import { readPattern, type Step } from '../../src/domain/replies/pattern.ts'

/** What stands for the classes that the reader finds by itself. */
const OWN: Record<string, string> = { n: '2', nth: '2nd', clock: '10:30', decimal: '39.2', name: 'Maria' }

/**
 * Texts for a pattern: every way through it, and in each way every word of every choice once. `a & b` becomes two
 * sentences.
 */
export function samplesOf(pattern: string, source: VocabularySource): string[] {
  return samplesWith(pattern, source, {})
}

/** The same with words of your own for some classes. */
export function samplesWith(pattern: string, source: VocabularySource, own: Record<string, string>): string[] {
  const parts = pattern
    .split(' & ')
    .map((part) => readPattern(part).flatMap(({ steps }) => variants(steps, source, own)))
  const [first, ...others] = parts
  return first!.map((text) => [text, ...others.map((texts) => texts[0]!)].join('. '))
}

function variants(steps: Step[], source: VocabularySource, own: Record<string, string>): string[] {
  const choices = steps.map((step) => wordsOf(step, source, own))
  const plain = choices.map((words) => words[0]!)
  const others = choices.flatMap((words, at) => words.slice(1).map((word) => plain.with(at, word)))
  return [plain, ...others].map((words) => words.join(' ').replace(/ +/g, ' ').trim())
}

function wordsOf(step: Step, source: VocabularySource, own: Record<string, string>): string[] {
  if (step.kind === 'word') return [...step.words]
  if (step.kind !== 'class') return ['']
  if (own[step.name] !== undefined) return [own[step.name]!]
  if (step.name in OWN) return [OWN[step.name]!]
  if (step.name === 'month') return source.months.slice(0, 1)
  if (step.name === 'weekday') return [Object.keys(source.weekdays)[0]!]
  if (step.name === 'topic') return [Object.values(source.topics)[0]![0]!]
  const kind = step.name === 'day' || step.name === 'past' || step.name === 'before' ? 'yesterday' : step.name
  const members = source.classes[step.name] ?? source.days[kind]
  return [samplesOf(members?.[0] ?? kind, source)[0]!]
}
