import { DateTime } from 'luxon'
import { readScene } from './meanings.ts'
import type { Reading, ReplyContext } from './reading.ts'
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
  const received = DateTime.fromJSDate(context.receivedAt, { zone: context.zone })
  let best: Reading | undefined
  for (const language of languagesToTry(tokens, context.language, vocabulary)) {
    const reading = { ...readScene(lookAt(tokens, language, context, received)), ...(language.code !== context.language && { language: language.code }) }
    if (reading.meaning !== 'unclear') return reading
    best ??= reading
  }
  return best ?? NOTHING
}

/** The languages that know the most of the words, the patient's own first among equals. */
function languagesToTry(tokens: Token[], own: string, vocabulary: Vocabulary): Language[] {
  const all = [...vocabulary.languages.values()]
  const scores = new Map(all.map((language) => [language, countKnown(tokens, language) + (language.code === own ? 0.5 : 0)]))
  const top = Math.max(...scores.values())
  return all.filter((language) => scores.get(language)! > 0 && scores.get(language)! >= top / 2).sort((a, b) => scores.get(b)! - scores.get(a)!)
}

const LANGUAGE_SAMPLE = 60

function countKnown(tokens: Token[], language: Language): number {
  let known = 0
  for (const token of tokens.slice(0, LANGUAGE_SAMPLE)) if (language.known.has(token.word) || language.variants.has(token.word)) known++
  if (known === 0 && tokens.length < 4 && tokens.some((token) => rightWord(token.word, language) !== token.word)) return 1
  return known
}
