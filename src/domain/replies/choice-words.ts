import { isFilled, overlaps } from './clauses.ts'
import type { Run } from './matching.ts'
import { valueOf } from './numbers.ts'
import { wholeOf, type Scene } from './scene.ts'

/** The number of an opening, as it stands in a text. */
export interface Numbered extends Run {
  choice: number
}

/** Every number of an opening in the text, but for those of days and of "of the three". */
export function openingsIn(scene: Scene): Numbered[] {
  const { classes, tokens, language, days } = scene
  const found: Numbered[] = []
  for (let at = 0; at < tokens.length; at++) {
    const end = classes[at]!.get('of-offer')?.[0] ?? at
    if (end > at + 1) at = end
    const here = { from: at, to: at + 1 }
    const names = classes[at]
    if (!names || days.some((day) => overlaps(day, here) && day.kind !== 'day-of-month' && day.kind !== 'vague'))
      continue
    const choice = romanAt(at, scene) ?? (names.has('n') || names.has('nth') ? valueOf(tokens[at]!.word, language) : 0)
    if (choice && choice <= scene.context.choices && !isPlainOne(at, scene)) found.push({ ...here, choice })
  }
  return found
}

/** "II" and "III", in capitals: a letter that stands alone is the patient. */
export function romanAt(at: number, { tokens }: Scene): number | undefined {
  const { written } = tokens[at]!
  return /^I{2,3}$/.test(written) ? written.length : undefined
}

/** "The second one": a "one" that also chooses is no number of an opening. */
function isPlainOne(at: number, { classes, tokens }: Scene): boolean {
  return classes[at]!.has('choosing') && !/^\d/.test(tokens[at]!.word)
}

/** A "one" at the very end: "three, no wait, one". */
function endingOne({ tokens, classes }: Scene): Numbered[] {
  const from = tokens.length - 1
  return classes[from]?.has('n') && classes[from].has('choosing') ? [{ from, to: from + 1, choice: 1 }] : []
}

/**
 * Of several numbers the one that counts: "1 no 2 yes", "3, no wait, 1", "I was going to say 1 but 2", "1 or 2? 2".
 * `choiceIn` reads a run of words that holds nothing but a choice.
 */
export function lastOpening(scene: Scene, choiceIn: (run: Run) => number | undefined): Numbered | undefined {
  const numbers = [...openingsIn(scene), ...endingOne(scene)]
  const last = numbers.at(-1)
  const before = numbers.at(-2)
  if (!last || !before || scene.tokens[last.from]!.asks) return undefined
  const answered = answeredNumbers(numbers, scene)
  if (answered) return answered
  const from = startOfLast(last, before, scene)
  const isOver = scene.clauses.runs.at(-1)!.to === endOfClause(last, scene)
  const words = { from, to: scene.tokens.length }
  const isRefused = scene.classes.some((found, at) => at >= from && (found.has('refused') || found.has('no')))
  return isOver && !isRefused && isGivenUp(before, last, scene) && choiceIn(words) === last.choice ? last : undefined
}

function endOfClause({ from }: Run, { clauses }: Scene): number {
  return clauses.runs[clauses.of[from]!]!.to
}

/** Where the words of the last number begin, once what takes the other back is passed. */
function startOfLast(last: Numbered, before: Numbered, { classes, clauses }: Scene): number {
  let at = Math.max(before.to, clauses.runs[clauses.of[last.from]!]!.from)
  while (at < last.from) {
    const end = Math.max(...['takes-back', 'no', 'joint'].map((name) => classes[at]!.get(name)?.[0] ?? -1))
    if (end < 0) break
    at = end
  }
  return at
}

/** The number before is one that was taken back, nearly said, or a part of a question. */
function isGivenUp(before: Numbered, last: Numbered, { classes, tokens }: Scene): boolean {
  if (tokens[before.from]!.asks) return true
  return classes.some(
    (found, at) =>
      (found.has('takes-back') && at >= before.to && at < last.from) || (found.has('nearly') && at < before.from),
  )
}

/** "1 no 2 yes": each number has its own answer behind it, and one alone is a yes. */
function answeredNumbers(numbers: Numbered[], scene: Scene): Numbered | undefined {
  const { classes, tokens } = scene
  const words = ['filler', 'joint', 'no', 'yes', 'choosing']
  if (!isFilled(wholeOf(scene), numbers, classes, words)) return undefined
  if (classes.slice(0, numbers[0]!.from).some((found) => found.has('no') || found.has('yes'))) return undefined
  const isAnswered = (name: string) => (number: Run) => tokens[number.to]?.before === 0 && classes[number.to]!.has(name)
  const taken = numbers.filter(isAnswered('yes'))
  const refused = numbers.filter(isAnswered('no'))
  return taken.length === 1 && refused.length === numbers.length - 1 && refused.length > 0 ? taken[0] : undefined
}
