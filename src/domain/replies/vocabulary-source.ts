/** What `templates/<language>/replies.yaml` holds. Patterns are written as `readPattern` describes. */
export interface VocabularySource {
  language: string
  /** Frequent words: they tell the language, and are never taken for a misspelling. */
  common: string
  /** Right word → the ways it is misspelt or shortened. */
  spellings: Record<string, string[]>
  /** Long words that are recognised with one letter wrong. */
  tolerate: string[]
  /** Words used as `<name>` in patterns. */
  classes: Record<string, string[]>
  /** Number words → their value; likewise ordinals, weekdays (Monday = 1). */
  numbers: Record<string, number>
  ordinals: Record<string, number>
  weekdays: Record<string, number>
  /** Names of months, as a hint that a calendar date stands there. */
  months: string[]
  days: Record<string, string[]>
  /** Topic of a preparation question → its words. */
  topics: Record<string, string[]>
  /** Sense → patterns found anywhere. */
  phrases: Record<string, string[]>
  /** Sense → patterns that count only when they fill their part of the text. */
  whole: Record<string, string[]>
  /** How phones and mail quote a text that they send back. */
  quoted: Record<string, string[]>
}
