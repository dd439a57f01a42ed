import { expect, test } from 'vitest'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'

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
    const reading = readReply(written, { language: code, receivedAt, zone: 'America/Halifax', choices: 0 }, vocabulary)
    expect(reading.meaning, written).toBe(meaning)
    // Below this the clinic's default leaves it to a person.
    expect(reading.confidence).toBeGreaterThan(0.5)
  }
})
