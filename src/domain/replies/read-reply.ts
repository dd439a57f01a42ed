import { DateTime } from 'luxon'
import { findClasses, findPhrases, type Span } from './matching.ts'
import type { Meaning, Reading, ReplyContext } from './reading.ts'
import { cleanText, tokenise, type Token } from './tokens.ts'
import type { Language, Vocabulary } from './vocabulary.ts'
import { findDay } from './when.ts'

// Which meaning gets the automatic answer when a text has several: first the ones that must never be overlooked.
const PRECEDENCE: Meaning[] = [
  'stop', 'urgent', 'wrong-person', 'period-started', 'prep-lapse', 'cannot-come', 'choice', 'not-started', 'bleeding-ended',
  'still-bleeding', 'prep-question', 'rejoin', 'help', 'confirm', 'thanks',
]

/**
 * What a reply means: the meaning, a date where one is meant, a confidence in 0..1, and the words relied on.
 * Never throws for what a patient wrote.
 */
export function readReply(text: string, context: ReplyContext, vocabulary: Vocabulary): Reading {
  const language = vocabulary.languages.get(context.language) ?? vocabulary.languages.get('en')
  const tokens = tokenise(cleanText(text))
  if (!language || tokens.length === 0) return { meaning: 'unclear', confidence: 1, words: [] }
  return readIn(language, tokens, context)
}

function readIn(language: Language, written: Token[], context: ReplyContext): Reading {
  const tokens = written.map((token) => ({ ...token, word: language.spellings.get(token.word) ?? token.word }))
  const classes = findClasses(tokens, language)
  const spans = findPhrases(tokens, classes, language).filter((span) => !span.whole || fillsText(span, tokens, classes))
  const senses = new Set(spans.map((span) => span.sense))
  const received = DateTime.fromJSDate(context.receivedAt, { zone: context.zone })
  if (senses.has('stop-not')) senses.delete('stop')
  if (senses.has('period-started') && (senses.has('negator') || senses.has('unreal'))) {
    senses.delete('period-started')
    if (senses.has('negator')) senses.add('not-started')
  }
  const day = findDay(tokens, received)
  if (!senses.has('period-started') && day && isElliptic(tokens)) senses.add('period-started')
  const number = context.choices > 0 ? /^[1-9]$/.exec(tokens[0]!.word) : null
  if (tokens.length === 1 && number && Number(number[0]) <= context.choices) {
    return { meaning: 'choice', choice: Number(number[0]), confidence: 0.97, words: [tokens[0]!.written] }
  }
  const meanings = PRECEDENCE.filter((meaning) => senses.has(meaning))
  const meaning = meanings[0]
  if (!meaning) return { meaning: 'unclear', confidence: 0.5, words: [] }
  const span = spans.find((each) => each.sense === meaning)
  const words = span ? tokens.slice(span.from, span.to).map((token) => token.written) : tokens.map((token) => token.written)
  return {
    meaning, confidence: 0.9, words,
    ...(meanings.length > 1 && { also: meanings.slice(1) }),
    ...(senses.has('period-started') && { startedOn: day ?? received.toISODate()! }),
    ...(meaning === 'bleeding-ended' && day && { endedOn: day }),
  }
}

/** "Started today", "it came yesterday": an answer to our question, with nothing else that could have started. */
function isElliptic(tokens: Token[]): boolean {
  return /^(yes |hi |hello )*(it |just |finally )*(started|came|began) (today|yesterday|this morning|last night|(on )?\w+day|\d+ days? ago)$/.test(tokens.map((token) => token.word).join(' '))
}

function fillsText(span: Span, tokens: Token[], classes: ReturnType<typeof findClasses>): boolean {
  return tokens.every((_, at) => (at >= span.from && at < span.to) || classes[at]!.has('filler') || (at > 0 && classes[at - 1]!.has('filler')))
}
