import { expect, test } from 'vitest'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { loadVocabulary } from '../../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../../src/domain/replies/read-reply.ts'

const vocabulary = loadVocabulary()
const MEANT = { stop: 'stop', start: 'rejoin', help: 'help', started: 'period-started', notYet: 'not-started' } as const
// Where replies in the language are not read at all, a person reads every answer.
const read = [...loadTexts().languages.values()].filter(({ code }) => vocabulary.languages.has(code))
const asked = read.flatMap(({ code, keywords }) =>
  Object.entries(MEANT).map(([name, meaning]) => ({ code, word: keywords[name as keyof typeof MEANT], meaning })),
)

test('replies are read in every language that asks for an answer in Latin letters', () => {
  expect(read.map(({ code }) => code)).toEqual(expect.arrayContaining(['en', 'es', 'fr']))
})

test.each(asked)('when a $code text asks for $word and she writes it, it is read as $meaning', ({ code, word, meaning }) => {
  const receivedAt = new Date('2026-03-18T15:00:00Z')
  for (const written of [
    word,
    word.toLowerCase(),
    ` ${word}. `,
    word.normalize('NFD').replace(/\p{M}/gu, (mark) => (code === 'fr' || code === 'es' ? '' : mark)),
  ]) {
    // Whatever was said before: the same word stands in several texts.
    for (const askedWhen of [false, true]) {
      const context = { language: code, receivedAt, zone: 'America/Halifax', choices: 0, askedWhen }
      const reading = readReply(written, context, vocabulary)
      expect(reading.meaning, written).toBe(meaning)
      // Below this the clinic's default leaves it to a person.
      expect(reading.confidence).toBeGreaterThan(0.5)
    }
  }
})

/** “I do not know”, in the words that the texts ask for: no keyword of Daysix, since nothing follows from it but a call. */
const NOT_SURE: Record<string, string> = { en: 'NOT SURE', es: 'NO SÉ', fr: 'JE NE SAIS PAS', uk: 'НЕ ЗНАЮ', pa: 'ਪਤਾ ਨਹੀਂ' }

/** The words a text asks for: those in capitals, and in Punjabi, which has none, those after “write:” and before “send”. */
function wordsToSend(code: string, text: string): string[] {
  const written = text.replace(/\{\w+\}/g, ' ')
  const capitals = written.match(/(?<!\p{L})\p{Lu}{2,}( \p{Lu}{2,})*(?![\p{L}\p{M}])/gu) ?? []
  const afterWrite = code === 'pa' ? [...written.matchAll(/ਲਿਖੋ: ?([^।{}]+)/g)].map(([, word]) => word!.trim()) : []
  return [...capitals, ...afterWrite].filter((word) => !ABBREVIATIONS.has(word))
}

/** Capitals that nobody is asked to send. */
const ABBREVIATIONS = new Set(['RDV'])

test.each([...loadTexts().languages.values()])('a $code text asks for no word but its keywords, which are tested above', (language) => {
  const { code, keywords, texts } = language
  const known = new Set([...Object.values(keywords), NOT_SURE[code]])
  const sent = [...texts.values()].filter(({ channel }) => channel === 'sms').flatMap(({ words }) => wordsToSend(code, words))
  expect(sent).toEqual(expect.arrayContaining([keywords.stop, keywords.start, keywords.started, keywords.notYet]))
  for (const word of sent) expect([...known], word).toContain(word)
})

test.each(Object.entries(NOT_SURE))('in %s, %s is never taken for a date, an answer to something else or a wish', (code, word) => {
  const receivedAt = new Date('2026-03-18T15:00:00Z')
  const context = { language: code, receivedAt, zone: 'America/Halifax', choices: 0, askedWhen: true }
  const { meaning, startedOn } = readReply(word, context, vocabulary)
  expect(startedOn).toBeUndefined()
  expect(['period-started', 'not-started', 'confirm', 'cannot-come', 'stop', 'rejoin', 'choice']).not.toContain(meaning)
})
