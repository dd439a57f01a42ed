import type { Reading } from './reading.ts'

/** A reply that a person read, as it teaches: nobody's name, nobody's number. */
export interface CorrectedText {
  language: string
  reading: Reading
  text: string
  receivedAt: Date
}

const NAME = 'NAME'
const NUMBER = 'NUMBER'
const LONGEST_NUMBER_KEPT = 6
/** Where it is not known how many times were on offer: as many as there ever are. */
const MOST_CHOICES = 3

/**
 * The words without what tells who wrote them: the parts of known names, and longer numbers. What else is private in
 * them stays: whoever passes them on reads them first.
 * @param names of whoever may have written it
 */
export function withoutNames(text: string, names: readonly string[]): string {
  const parts = new Set(
    names.flatMap((name) => name.toLowerCase().split(/[^\p{L}\p{M}’']+/u)).filter((part) => [...part].length > 1),
  )
  return text
    .replaceAll(/[\p{L}\p{M}’']+/gu, (word) => (parts.has(word.toLowerCase().replace(/[’']s$/, '')) ? NAME : word))
    .replaceAll(/\+?\d[\d\s().-]{5,}\d/g, (digits) =>
      digits.replaceAll(/\D/g, '').length > LONGEST_NUMBER_KEPT ? NUMBER : digits,
    )
}

/** A line of a labelled file, as `daysix read-reply --score` reads it. */
export function labelledLine({ language, reading, text, receivedAt }: CorrectedText): string {
  const { meaning, also = [], startedOn, endedOn, choice } = reading
  const detail = startedOn ?? endedOn ?? choice
  const label = [[meaning, ...also].join('+'), detail].filter((part) => part !== undefined).join(' ')
  const choices = choice === undefined ? 0 : MOST_CHOICES
  return [language, label, text.replaceAll(/\s+/g, ' ').trim(), choices, receivedAt.toISOString()].join('\t')
}
