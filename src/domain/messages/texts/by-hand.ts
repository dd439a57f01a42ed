import type { Detail } from './kinds.ts'
import type { Language } from './library.ts'
import { badWords } from './text-rules.ts'

/** Two segments of GSM-7 with room for the clinic's name: more is a letter, not a text. */
export const LONGEST_BY_HAND = 280

/**
 * What is wrong with a message that somebody wrote by hand, in sentences for its author; empty when nothing is. Results
 * and diagnoses are never texted; where the patient asked for discreet texts, neither is what the visit is for.
 */
export function byHandFaults(words: string, { never, telling, keywords }: Language, detail: Detail): string[] {
  return [
    ...(words.trim() === '' ? ['Write something first.'] : []),
    ...(words.length > LONGEST_BY_HAND ? [`Write at most ${LONGEST_BY_HAND} characters, or call the patient.`] : []),
    ...badWords(words, never).map((word) => `“${word}” speaks of a result or a diagnosis. Tell the patient in person.`),
    ...(detail === 'discreet'
      ? badWords(words, telling).map((word) => `The patient asked for discreet texts: leave out “${word}”.`)
      : []),
    ...(words.trim() === keywords.stop ? ['This is the word that ends messages. Write a sentence.'] : []),
  ]
}
