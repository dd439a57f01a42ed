import { readScene } from './meanings.ts'
import type { Reading, ReplyContext } from './reading.ts'
import { receiptOf, type Receipt } from './receipt.ts'
import { lookAt } from './scene.ts'
import { rightWord } from './spelling.ts'
import { cleanText, tokenise, type Token } from './tokens.ts'
import type { Language, Vocabulary } from './vocabulary.ts'

const NOTHING: Reading = { meaning: 'unclear', confidence: 0.5, words: [] }

/**
 * What a reply means: a meaning, a day where one is meant, a confidence in 0..1, the words relied on, and further meanings
 * in the same text. It is read in the patient's language, or in the one it is written in. Pure; never throws for what a
 * patient wrote; takes time in proportion to the length of the text.
 */
export function readReply(text: string, context: ReplyContext, vocabulary: Vocabulary): Reading {
  const tokens = tokenise(cleanText(text))
  if (tokens.length === 0) return NOTHING
  let known: Receipt | undefined
  const receipt = () => (known ??= receiptOf(context.receivedAt, context.zone))
  const readIn = (language: Language) => readScene(lookAt(tokens, language, context, receipt))
  let best: Reading | undefined
  for (const language of languagesToTry(tokens, context.language, vocabulary)) {
    const reading = readIn(language)
    const named = language.code === context.language ? reading : { ...reading, language: language.code }
    if (reading.meaning !== 'unclear') return sameInOwn(named, context.language, vocabulary, readIn) ?? named
    best ??= named
  }
  return best ?? NOTHING
}

/** The reading in her own language, when it comes to the same: "STOP" or "ok" is no change of language. */
function sameInOwn(reading: Reading, own: string, vocabulary: Vocabulary, readIn: (language: Language) => Reading): Reading | undefined {
  const language = reading.language === undefined ? undefined : vocabulary.languages.get(own)
  const other = language && readIn(language)
  return other?.meaning === reading.meaning && other.startedOn === reading.startedOn ? other : undefined
}

const LANGUAGE_SAMPLE = 60
/** A second language is tried when it knows at least this share of the words that the best one knows. */
const CLOSE = 0.9

/** The languages that know the most of the words, the patient's own first among equals. */
function languagesToTry(tokens: Token[], own: string, { order, words }: Vocabulary): Language[] {
  const scores = order.map((language) => (language.code === own ? 0.5 : 0))
  for (const token of tokens.slice(0, LANGUAGE_SAMPLE)) for (const i of words.get(token.word) ?? []) scores[i]!++
  if (Math.max(...scores) < 1) return order.filter((language) => language.code === own || isMisspeltIn(tokens, language))
  const top = Math.max(...scores)
  const close = order.map((_, i) => i).filter((i) => scores[i]! >= 1 && scores[i]! >= top * CLOSE)
  return close.sort((a, b) => scores[b]! - scores[a]!).map((i) => order[i]!)
}

/** A short text without one known word may be a single misspelt or disguised one: "ЅТОР", "yeeees". */
function isMisspeltIn(tokens: Token[], language: Language): boolean {
  return tokens.length < 12 && tokens.some((token) => rightWord(token.word, language) !== token.word || token.word.length === 1)
}
