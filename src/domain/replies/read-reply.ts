import { tellsOfBlood } from './bleeding.ts'
import { readScene } from './meanings.ts'
import { otherLanguageOf } from './other-language.ts'
import { cutQuotes, withoutSaid } from './own-words.ts'
import { CLINICAL, type Reading, type ReplyContext } from './reading.ts'
import { receiptOf, type Receipt } from './receipt.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import { lookAt } from './scene.ts'
import { rightWord } from './spelling.ts'
import { byPrecedence } from './told.ts'
import { cleanText, isJunk, tokenise, type Token } from './tokens.ts'
import type { Language, Vocabulary } from './vocabulary.ts'

const NOTHING: Reading = { meaning: 'unclear', confidence: 0.5, words: [] }
/** Approval of a text of ours answers nothing that it asked. */
const APPROVED: Reading = { meaning: 'thanks', confidence: 0.9, words: [] }

/**
 * What a reply means: a meaning, a day where one is meant, a confidence in 0..1, the words relied on, and further
 * meanings in the same text. It is read in the patient's language, or in the one it is written in. What the phone
 * quotes of our texts is not read. Pure; never throws for what a patient wrote; takes time in proportion to the
 * length of the text.
 */
export function readReply(text: string, context: ReplyContext, vocabulary: Vocabulary): Reading {
  const { text: own, reaction } = cutQuotes(cleanText(text), vocabulary.quotes)
  const tokens = ownTokens(tokenise(own), context)
  if (tokens.length === 0) return reaction === 'approved' ? APPROVED : NOTHING
  const reading = readTokens(tokens, context, vocabulary)
  if (!REPLY_MEANINGS[reading.meaning].neverHidden && isJunk(text)) return NOTHING
  const other = reading.meaning === 'unclear' ? otherLanguageOf(own.slice(0, LANGUAGE_SIGNS)) : undefined
  return other === undefined ? reading : { ...reading, language: other }
}

/** By the beginning of a text its language can be told. */
const LANGUAGE_SIGNS = 400

/** A reply to an offer of no more words than this may repeat one of its lines: "2: Thu Mar 26 9:30am". */
const LINE_OF_OFFER = 8

function ownTokens(tokens: Token[], { said = [], choices }: ReplyContext): Token[] {
  const isLine = choices > 0 && tokens.length <= LINE_OF_OFFER
  return said.length === 0 || isLine ? tokens : withoutSaid(tokens, said)
}

function readTokens(tokens: Token[], context: ReplyContext, vocabulary: Vocabulary): Reading {
  let known: Receipt | undefined
  const receipt = () => (known ??= receiptOf(context.receivedAt, context.zone))
  const parts = cutUp(tokens)
  const readIn = (language: Language) =>
    mostImportant(parts.map((part) => readScene(lookAt(part, language, context, receipt, parts.length > 1))))
  let best: Reading | undefined
  for (const language of languagesToTry(tokens, context.language, vocabulary)) {
    const reading = readIn(language)
    const named = language.code === context.language ? reading : { ...reading, language: language.code }
    if (reading.meaning !== 'unclear') return sameInOwn(named, context.language, vocabulary, readIn) ?? named
    if (!best?.clinical && !best?.needs) best = reading.clinical || reading.needs ? named : (best ?? named)
  }
  return best ?? NOTHING
}

// A part is long enough for any sentence; within it work may grow faster than its length, over all parts it does not.
const LONGEST_PART = 120
const CUT_FROM = 80

/** Cuts a long text into parts, at the end of a sentence where one ends. */
function cutUp(tokens: Token[]): Token[][] {
  const parts: Token[][] = []
  let from = 0
  while (tokens.length - from > LONGEST_PART) {
    const end = tokens.findIndex((token, at) => at >= from + CUT_FROM && token.before === 2)
    const to = end < 0 || end > from + LONGEST_PART ? from + LONGEST_PART : end
    parts.push(tokens.slice(from, to))
    from = to
  }
  return [...parts, tokens.slice(from)]
}

/** The most important of the readings of a text's parts; what the others say becomes `also`. */
function mostImportant(readings: Reading[]): Reading {
  if (readings.length === 1) return readings[0]!
  const marks = marksOf(readings)
  const told = readings
    .filter((reading) => reading.meaning !== 'unclear')
    .sort((a, b) => byPrecedence(a.meaning, b.meaning))
  const [first] = told
  if (!first) return { ...readings[0]!, ...marks }
  const also = [...new Set(told.flatMap((reading) => [reading.meaning, ...(reading.also ?? [])]))].filter(
    (meaning) => meaning !== first.meaning,
  )
  const dated = told.find((reading) => reading.startedOn !== undefined)
  return {
    ...withoutLevel(first),
    ...(dated && { startedOn: dated.startedOn! }),
    ...(also.length > 0 && { also }),
    ...marks,
  }
}

/** The gravest of what a clinician is told; what alarms is for today only where none of it is an emergency. */
function marksOf(readings: Reading[]): Pick<Reading, 'clinical' | 'needs' | 'level'> {
  const clinical = CLINICAL.find((mark) => readings.some((reading) => reading.clinical === mark))
  const alarms = readings.filter(({ meaning, also = [] }) => meaning === 'urgent' || also.includes('urgent'))
  return {
    ...(clinical && { clinical }),
    ...(readings.some(({ needs }) => needs) && { needs: true }),
    ...(alarms.length > 0 &&
      alarms.every(({ level }) => level === 'today') &&
      !isInDanger(readings) && { level: 'today' }),
  }
}

/** A pregnancy in one part, blood in another. */
function isInDanger(readings: Reading[]): boolean {
  const isPregnant = readings.some(({ clinical }) => clinical === 'pregnancy')
  return isPregnant && readings.some((reading) => reading.clinical === 'bleeding' || tellsOfBlood(reading))
}

function withoutLevel({ level: _level, ...reading }: Reading): Reading {
  return reading
}

/** The reading in the patient's own language, when it comes to the same: "STOP" or "ok" is no change of language. */
function sameInOwn(
  reading: Reading,
  own: string,
  vocabulary: Vocabulary,
  readIn: (language: Language) => Reading,
): Reading | undefined {
  const language = reading.language === undefined ? undefined : vocabulary.languages.get(own)
  const other = language && readIn(language)
  return other?.meaning === reading.meaning && other.startedOn === reading.startedOn ? other : undefined
}

const NONE: readonly number[] = []
const LANGUAGE_SAMPLE = 60
/** A second language is tried when it knows at least this share of the words that the best one knows. */
const CLOSE = 0.9
/** In a text of so few words every language that knows half as many is tried: carrier words must work in all. */
const FEW_WORDS = 3
const CLOSE_IN_FEW = 0.5

/** The languages that know the most of the words, the patient's own first among equals. */
function languagesToTry(tokens: Token[], own: string, { order, words }: Vocabulary): Language[] {
  const scores = order.map((language) => (language.code === own ? 0.5 : 0))
  for (let at = 0; at < tokens.length && at < LANGUAGE_SAMPLE; at++)
    for (const i of words.get(tokens[at]!.word) ?? NONE) scores[i]!++
  const top = Math.max(...scores)
  if (top < 1) return order.filter((language) => language.code === own || isMisspeltIn(tokens, language))
  const close = order
    .map((_, i) => i)
    .filter((i) => scores[i]! >= 1 && scores[i]! >= top * (tokens.length > FEW_WORDS ? CLOSE : CLOSE_IN_FEW))
  return close.sort((a, b) => scores[b]! - scores[a]!).map((i) => order[i]!)
}

/** A short text without one known word may be a single misspelt or disguised one: "ЅТОР", "yeeees". */
function isMisspeltIn(tokens: Token[], language: Language): boolean {
  return (
    tokens.length < 12 &&
    tokens.some((token) => rightWord(token.word, language) !== token.word || token.word.length === 1)
  )
}
