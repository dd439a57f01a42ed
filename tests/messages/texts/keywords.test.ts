import { expect, test } from 'vitest'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { loadVocabulary } from '../../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../../src/domain/replies/read-reply.ts'
import { QUESTIONS, type ReplyContext } from '../../../src/domain/replies/reading.ts'

const vocabulary = loadVocabulary()
const MEANT = {
  stop: 'stop',
  start: 'rejoin',
  help: 'help',
  started: 'period-started',
  notYet: 'not-started',
  undo: 'undo',
} as const
// Where replies in the language are not read at all, a person reads every answer.
const read = [...loadTexts().languages.values()].filter(({ code }) => vocabulary.languages.has(code))
const asked = read.flatMap(({ code, keywords }) =>
  Object.entries(MEANT).map(([name, meaning]) => ({ code, word: keywords[name as keyof typeof MEANT], meaning })),
)

test('replies are read in every language that asks for an answer in Latin letters', () => {
  expect(read.map(({ code }) => code)).toEqual(expect.arrayContaining(['en', 'es', 'fr']))
})

/** Whatever was asked before: the same word stands in several texts. */
function everyContext(language: string): ReplyContext[] {
  const context = { language, receivedAt: new Date('2026-03-18T15:00:00Z'), zone: 'America/Halifax', choices: 0 }
  return [context, ...QUESTIONS.map((asked) => ({ ...context, asked }))]
}

test.each(asked)(
  'when a $code text asks for $word and the patient writes it, it is read as $meaning',
  ({ code, word, meaning }) => {
    for (const written of [
      word,
      word.toLowerCase(),
      ` ${word}. `,
      word.normalize('NFD').replace(/\p{M}/gu, (mark) => (code === 'fr' || code === 'es' ? '' : mark)),
    ]) {
      for (const context of everyContext(code)) {
        const reading = readReply(written, context, vocabulary)
        expect(reading.meaning, written).toBe(meaning)
        // Below this the clinic's default leaves it to a person.
        expect(reading.confidence).toBeGreaterThan(0.5)
      }
    }
  },
)

/**
 * “I do not know”, in the words that the texts ask for: no keyword of Daysix, since nothing follows from it but a call.
 */
const NOT_SURE: Record<string, string> = {
  en: 'NOT SURE',
  es: 'NO SÉ',
  fr: 'JE NE SAIS PAS',
  uk: 'НЕ ЗНАЮ',
  pa: 'ਪਤਾ ਨਹੀਂ',
}

/** How a text spells a word in brackets for a keyboard without its letters, and what it must be read as. */
const IN_ROMAN: Record<string, 'not-started' | 'unclear'> = { 'AJE NAHI': 'not-started', 'PATA NAHI': 'unclear' }

test.each(Object.entries(IN_ROMAN))('%s, which a Punjabi text offers in brackets, is read as %s', (word, meaning) => {
  for (const context of everyContext('pa'))
    for (const written of [word, word.toLowerCase(), `(${word})`])
      expect(readReply(written, context, vocabulary).meaning, written).toBe(meaning)
})

/**
 * The words a text asks for: those in capitals, and in Punjabi, which has none, those after “write:” and before “send”.
 */
function wordsToSend(code: string, text: string): string[] {
  const written = text.replace(/\{\w+\}/g, ' ')
  const capitals = written.match(/(?<!\p{L})\p{Lu}{2,}( \p{Lu}{2,})*(?![\p{L}\p{M}])/gu) ?? []
  const afterWrite = code === 'pa' ? [...written.matchAll(/ਲਿਖੋ: ?([^।{}(]+)/g)].map(([, word]) => word!.trim()) : []
  return [...capitals, ...afterWrite].filter((word) => !ABBREVIATIONS.has(word))
}

/** Capitals that nobody is asked to send. */
const ABBREVIATIONS = new Set(['RDV'])

test.each([...loadTexts().languages.values()])(
  'a $code text asks for no word but its keywords, which are tested above',
  (language) => {
    const { code, keywords, texts } = language
    const known = new Set([...Object.values(keywords), NOT_SURE[code], ...(code === 'pa' ? Object.keys(IN_ROMAN) : [])])
    const sent = [...texts.values()]
      .filter(({ channel }) => channel === 'sms')
      .flatMap(({ words }) => wordsToSend(code, words))
    expect(sent).toEqual(expect.arrayContaining([keywords.stop, keywords.start, keywords.started, keywords.notYet]))
    for (const word of sent) expect([...known], word).toContain(word)
  },
)

test.each(Object.entries(NOT_SURE))(
  'in %s, %s is never taken for a date, an answer to something else or a wish',
  (code, word) => {
    for (const context of everyContext(code)) {
      const { meaning, startedOn } = readReply(word, context, vocabulary)
      expect(startedOn).toBeUndefined()
      expect(['period-started', 'not-started', 'confirm', 'cannot-come', 'stop', 'rejoin', 'choice']).not.toContain(
        meaning,
      )
    }
  },
)
