import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// What a yes or no answers depends on the question. Which words are a yes or a no is common knowledge, no source.
const YES: [string, string[]][] = [
  [
    'en',
    [
      'Yes',
      'yes!',
      'yep',
      'yeah',
      'Yup',
      'ya',
      'y',
      '👍',
      '👍🏽',
      'yes it has',
      'it has',
      'Yes, thanks',
      'yes it did',
      'si',
      'ok yes',
    ],
  ],
  ['fr', ['Oui', 'ouais', 'oui merci', 'ouaip', '👍', 'en effet', 'Yes']],
  ['es', ['Sí', 'si', 'ya', 'sí, ya', 'claro que sí', '👍', 'sip']],
  ['uk', ['Так', 'так!', 'ага', 'да', '👍']],
  ['pa', ['ਹਾਂ', 'ਹਾਂ ਜੀ', 'ਹਾਂਜੀ', '👍', 'haan ji']],
]
const NO: [string, string[]][] = [
  ['en', ['no', 'No.', 'nope', 'nah', 'not yet', 'no not yet', '👎', 'No, sorry', "it hasn't", 'no it hasnt']],
  ['fr', ['non', 'Non merci', 'nan', 'pas encore', 'non pas encore']],
  ['es', ['no', 'No gracias', 'nop', 'todavía no', 'NO HA VENIDO']],
  ['uk', ['ні', 'Ні, ще ні', 'нет', 'ЩЕ НІ']],
  ['pa', ['ਨਹੀਂ', 'ਨਹੀਂ ਜੀ', 'ਅਜੇ ਨਹੀਂ', 'nahi']],
]
const each = (list: [string, string[]][]) =>
  list.flatMap(([language, texts]) => texts.map((text) => [language, text] as const))

describe('an answer to "Has your period started?"', () => {
  it.each(each(YES))('a yes is a start whose day is still to be asked for: %s "%s"', (language, text) => {
    const reading = read(text, { language, asked: 'started' })
    expect(reading.meaning).toBe('period-started')
    expect(reading.startedOn).toBeUndefined()
    expect(reading.also ?? []).not.toContain('confirm')
  })

  it.each(each(NO))('a no is a period that has not started: %s "%s"', (language, text) => {
    expect(read(text, { language, asked: 'started' }).meaning).toBe('not-started')
  })

  it.each([
    ['en', 'Yes Monday', '2026-03-16'],
    ['en', 'yes, yesterday', '2026-03-17'],
    ['en', 'yesterday', '2026-03-17'],
    ['en', 'Yes. March 3', '2026-03-03'],
    ['fr', 'oui lundi', '2026-03-16'],
    ['fr', 'oui, hier', '2026-03-17'],
    ['es', 'sí, ayer', '2026-03-17'],
    ['es', 'si el lunes', '2026-03-16'],
    ['uk', 'так, вчора', '2026-03-17'],
    ['pa', 'ਹਾਂ ਅੱਜ', '2026-03-18'],
  ])('a yes with a day is a start on that day: %s "%s"', (language, text, startedOn) => {
    expect(read(text, { language, asked: 'started' })).toMatchObject({ meaning: 'period-started', startedOn })
  })

  it('a start told without a day is asked for its day, since it may be days ago', () => {
    for (const text of ['STARTED', 'it started', 'Yes it started']) {
      expect(read(text, { asked: 'started' })).toMatchObject({ meaning: 'period-started' })
      expect(read(text, { asked: 'started' }).startedOn, text).toBeUndefined()
      // The least that a clinic acts upon by default.
      expect(read(text, { asked: 'started' }).confidence, text).toBeGreaterThanOrEqual(0.65)
      expect(read(text).startedOn, text).toBe('2026-03-18')
    }
  })

  it('neither "ok" nor a yes to a day ahead confirms the visit, and a no with a day is no start', () => {
    for (const text of ['ok', 'Okay', 'great', 'yes tomorrow', 'NOT SURE', "I don't know", 'yes and no', 'no, Monday'])
      expect(['unclear', 'not-started'], text).toContain(read(text, { asked: 'started' }).meaning)
    for (const text of ['NOT SURE', "I don't know", 'ok', 'yes and no'])
      expect(read(text, { asked: 'started' }).meaning, text).toBe('unclear')
  })

  it('whatever else is said is read as ever', () => {
    expect(read('stop', { asked: 'started' }).meaning).toBe('stop')
    expect(read('thank you', { asked: 'started' }).meaning).toBe('thanks')
    expect(read("I can't come friday", { asked: 'started' }).meaning).toBe('cannot-come')
    expect(read('See you on Friday', { asked: 'started' }).meaning).toBe('confirm')
  })
})

describe('an answer to "When did your last period start?"', () => {
  it.each([
    ...each(YES).filter(([, text]) => !/thanks|merci/.test(text)),
    ...each(NO).filter(([, text]) => !/yet|encore|todav|ВЕНІ|VENIDO|ще|ЩЕ|ਅਜੇ|hasn/.test(text)),
  ])('a bare yes or no names no day: %s "%s"', (language, text) =>
    expect(read(text, { language, asked: 'day' }).meaning).toBe('unclear'),
  )

  it('a no before a day is no start on it', () =>
    expect(read('no, Monday', { asked: 'day' }).meaning).not.toBe('period-started'))
})

describe('an answer to "If your period has started, or you cannot come, reply now"', () => {
  it.each(
    [...each(YES), ...each(NO)].filter(([, text]) =>
      /^(yes|yep|oui|sí|si|так|ਹਾਂ|👍|👎|no|non|ні|ਨਹੀਂ|nope)[!.]?$/i.test(text),
    ),
  )('a bare yes or no may mean either, so it confirms nothing: %s "%s"', (language, text) =>
    expect(read(text, { language, asked: 'either' }).meaning).toBe('unclear'),
  )

  it('a plain word about the visit or the period is read as ever', () => {
    expect(read('see you tomorrow', { asked: 'either' }).meaning).toBe('confirm')
    expect(read('yes see you friday', { asked: 'either' }).meaning).toBe('confirm')
    expect(read('started', { asked: 'either' }).meaning).toBe('period-started')
    expect(read("can't come", { asked: 'either' }).meaning).toBe('cannot-come')
  })
})

describe('a question about the visit, or none', () => {
  it('leaves a yes a confirmation', () => {
    for (const asked of [undefined, 'coming'] as const)
      expect(read('yes', asked && { asked }).meaning, asked).toBe('confirm')
  })
})
