import { findClauses, type Clauses } from './clauses.ts'
import { findClasses, findPatterns, type ClassRuns, type Match, type Run } from './matching.ts'
import type { ReplyContext } from './reading.ts'
import type { Receipt } from './receipt.ts'
import { respell } from './spelling.ts'
import type { Token } from './tokens.ts'
import type { Language, Sense } from './vocabulary.ts'
import type { DayRun } from './dates.ts'
import { findDays } from './when.ts'

/** A text as one language sees it: its words, the days it speaks of, and every pattern found. */
export interface Scene {
  language: Language
  context: ReplyContext
  /** Worked out when a day is spoken of, and only then. */
  receipt: () => Receipt
  tokens: Token[]
  classes: ClassRuns
  clauses: Clauses
  days: DayRun[]
  matches: Match<Sense>[]
  /** It is a part of a longer text: nothing in it stands alone. */
  isPart: boolean
}

/** Looks at a text through one language's vocabulary. */
export function lookAt(
  written: Token[],
  language: Language,
  context: ReplyContext,
  receipt: () => Receipt,
  isPart: boolean,
): Scene {
  const tokens = respell(written, language)
  const classes = findClasses(tokens, language)
  const days = findDays(tokens, classes, language, receipt)
  const clauses = findClauses(tokens, classes)
  const matches = findPatterns(tokens, classes, language.phrases)
  return { language, context, receipt, tokens, classes, clauses, days, matches, isPart }
}

/** All words of the text. */
export const wholeOf = ({ tokens }: Pick<Scene, 'tokens'>): Run => ({ from: 0, to: tokens.length })

/** One of its sentences is a question. */
export const asksSomething = ({ tokens }: Pick<Scene, 'tokens'>): boolean => tokens.some(({ asks }) => asks)
