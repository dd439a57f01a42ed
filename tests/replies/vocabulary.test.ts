import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { loadVocabulary, readVocabularyFiles } from '../../src/adapters/templates/load-vocabulary.ts'
import { Failure } from '../../src/domain/failure.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import { compileVocabulary } from '../../src/domain/replies/compile-vocabulary.ts'
import { HELPER_SENSES } from '../../src/domain/replies/vocabulary.ts'
import { samplesOf } from './entries.ts'

const vocabulary = loadVocabulary()
const context = (language: string) => ({
  language,
  receivedAt: new Date(Date.UTC(2026, 2, 18, 17)),
  zone: 'America/Halifax',
  choices: 0,
})

const MEANING: Record<string, string> = {
  'started-short': 'period-started',
  'ended-short': 'bleeding-ended',
  'stop-alone': 'stop',
  'cancel-word': 'stop',
  'late-some-days': 'not-started',
  'not-until': 'period-started',
  'stop-it': 'stop',
  'kin-died': 'died',
}
const REMARKS = HELPER_SENSES.filter((sense) => !(sense in MEANING))

/** Every entry that carries a meaning, with the texts it stands for. */
const entries = readVocabularyFiles().flatMap((source) =>
  (['phrases', 'whole'] as const).flatMap((section) =>
    Object.entries(source[section])
      .filter(([sense]) => !(REMARKS as readonly string[]).includes(sense))
      .flatMap(([sense, patterns]) =>
        patterns.map((pattern) => ({
          source,
          language: source.language,
          sense: MEANING[sense] ?? sense,
          pattern,
          texts: samplesOf(pattern, source),
        })),
      ),
  ),
)

describe('the vocabulary files', () => {
  it('hold English, French, Spanish, Ukrainian and Punjabi', () => {
    expect([...vocabulary.languages.keys()].sort()).toEqual(['en', 'es', 'fr', 'pa', 'uk'])
  })

  it('let every entry read as its own meaning', () => {
    const others = entries.filter(
      ({ language, sense, texts }) => readReply(texts[0]!, context(language), vocabulary).meaning !== sense,
    )
    expect(
      others.map(({ language, sense, pattern, texts }) => `${language} ${sense} "${pattern}": "${texts[0]}"`),
    ).toEqual([])
  })

  it('let no way of writing an entry read as another meaning, unless as an alarm or as unclear', () => {
    const collisions = entries.flatMap(({ language, sense, pattern, texts }) =>
      texts.flatMap((text) => {
        const { meaning } = readReply(text, context(language), vocabulary)
        return meaning === sense || meaning === 'unclear' || meaning === 'urgent'
          ? []
          : [`${language} ${sense} "${pattern}": "${text}" reads as ${meaning}`]
      }),
    )
    expect(collisions).toEqual([])
  })

  it('let no misspelling be a number, ordinal or weekday of the language', () => {
    for (const source of readVocabularyFiles()) {
      const language = vocabulary.languages.get(source.language)!
      const clashes = [
        ...Object.keys(source.numbers),
        ...Object.keys(source.ordinals),
        ...Object.keys(source.weekdays),
      ].filter((word) => language.variants.has(word))
      expect(clashes, source.language).toEqual([])
    }
  })
})

describe('a language of a clinic’s own', () => {
  const folder = mkdtempSync(join(tmpdir(), 'daysix-replies-'))
  afterAll(() => rmSync(folder, { recursive: true }))
  const write = (language: string, yaml: string) => {
    mkdirSync(join(folder, language), { recursive: true })
    writeFileSync(join(folder, language, 'replies.yaml'), yaml)
  }

  it('is read from its file alone, without code', () => {
    write(
      'de',
      'days: {yesterday: [gestern]}\nclasses: {filler: [bitte], period: [periode, tage]}\nphrases: {period-started: ["meine <period> (hat|haben) [gestern] begonnen"]}\nwhole: {stop: [stopp]}\n',
    )
    const own = loadVocabulary(folder)
    expect(readReply('Meine Periode hat gestern begonnen', context('de'), own)).toMatchObject({
      meaning: 'period-started',
      startedOn: '2026-03-17',
    })
    expect(readReply('stopp bitte', context('de'), own).meaning).toBe('stop')
    rmSync(join(folder, 'de'), { recursive: true })
  })

  it.each([
    ['a sense that does not exist', 'phrases: {begun: [hallo]}', /begun/],
    ['a class that does not exist', 'phrases: {thanks: ["danke <nobody>"]}', /nobody/],
    ['brackets that do not match', 'phrases: {thanks: ["danke (sehr"]}', /brackets/],
    ['a pattern without words', 'phrases: {thanks: ["..."]}', /no words/],
    ['a section that does not exist', 'sentences: {}', /sentences/],
    ['text that is not YAML', 'phrases: {thanks: [', /not valid YAML/],
    ['a way of quoting that does not exist', 'quoted: {hated: [gehasst]}', /hated/],
    ['mail without its two words', 'quoted: {mail: [schrieb]}', /"\.\.\."/],
    ['a class in what a phone quotes with', 'quoted: {approved: ["<period> gefallen"]}', /plain words/],
    ['a kind of day that does not exist', 'days: {sometime: [irgendwann]}', /sometime/],
  ])('is refused for %s, and told where', (_, yaml, message) => {
    write('de', yaml)
    expect(() => loadVocabulary(folder)).toThrow(Failure)
    expect(() => loadVocabulary(folder)).toThrow(message)
  })

  it('is refused when there is no file at all', () => {
    rmSync(join(folder, 'de'), { recursive: true })
    expect(() => loadVocabulary(folder)).toThrow(/replies.yaml/)
  })

  it("may be missing for a patient: the patient's text is then read in the language it is written in", () => {
    const reading = readReply('my period started yesterday', context('de'), compileVocabulary(readVocabularyFiles()))
    expect(reading).toMatchObject({ meaning: 'period-started', startedOn: '2026-03-17', language: 'en' })
  })
})
