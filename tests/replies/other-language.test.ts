import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { languageWords, otherLanguageOf } from '../../src/domain/replies/other-language.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import { TestWorld } from '../harness/world.ts'
import { readFileSync, readdirSync } from 'node:fs'

// Scripts as Unicode has them (UAX 24). The first article of the Universal Declaration of Human Rights in each
// language, from memory.
const TEXTS: readonly (readonly [string, string])[] = [
  ['und-Arab', 'يولد جميع الناس أحرارا متساوين في الكرامة والحقوق'],
  ['und-Cans', 'ᐃᓄᓕᒫᑦ ᐊᓂᖅᑎᕆᔪᓕᒫᑦ ᐃᓅᓚᐅᕐᒪᑕ'],
  ['und-Hani', '人人生而自由,在尊严和权利上一律平等。'],
  ['und-Deva', 'सभी मनुष्यों को गौरव और अधिकारों के मामले में जन्मजात स्वतन्त्रता'],
  ['tl', 'Dumating na po ang regla ko kahapon, pwede po ba bukas?'],
]
const vocabulary = loadVocabulary()
const context = { language: 'en', receivedAt: new Date('2026-03-17T18:00:00Z'), zone: 'America/Halifax', choices: 0 }

describe('a text in a language that is not read', () => {
  it.each(TEXTS)('%s is named, and left to a person', (code, text) => {
    expect(readReply(text, context, vocabulary)).toMatchObject({ meaning: 'unclear', language: code })
    expect(languageWords(code)).not.toBe(code)
  })

  it('is shown to the desk with its name', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.book({ visit: '2026-03-25T10:00' })
    await world.reply('+17825550101', TEXTS[0]![1])
    const calls = await world.deps.store.read.followUps.list({ open: true, reasons: ['other-language'], limit: 9 })
    expect(calls.map(({ detail }) => detail.why)).toEqual([
      'Written in Arabic letters (Arabic, Dari, Farsi, Urdu and others).',
    ])
    await world.close()
  })
})

describe('no text in a language that is read', () => {
  const folder = new URL('corpus/', import.meta.url)
  it.each(readdirSync(folder))('is taken for another: %s', (file) => {
    const lines = readFileSync(new URL(file, folder), 'utf8').split('\n')
    expect(lines.filter((line) => otherLanguageOf(line.split('\t').at(-1)!) !== undefined)).toEqual([])
  })
})
