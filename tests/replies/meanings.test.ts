import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import type { ReplyContext } from '../../src/domain/replies/reading.ts'

// What each text means is judged by hand; carrier words are those of industry guidelines (CTIA: STOP, END, CANCEL,
// UNSUBSCRIBE, QUIT, STOPALL, HELP, INFO, START, UNSTOP; Canadian short-code guidelines: STOP, ARRET, HELP, AIDE, INFO;
// 47 CFR
// 64.1200(a)(10)).
const vocabulary = loadVocabulary()
const read = (text: string, more: Partial<ReplyContext> = {}) =>
  readReply(
    text,
    { language: 'en', receivedAt: new Date(Date.UTC(2026, 2, 18, 17)), zone: 'America/Halifax', choices: 0, ...more },
    vocabulary,
  )

describe('carrier words', () => {
  it.each([
    'STOP',
    'stop',
    ' Stop. ',
    'STOPALL',
    'UNSUBSCRIBE',
    'CANCEL',
    'END',
    'QUIT',
    'REVOKE',
    'OPT OUT',
    'opt-out',
    'ARRET',
    'ARRÊT',
    'arrêt',
    'PLEASE STOP TEXTING ME',
  ])('"%s" ends the texts in every language', (word) => {
    for (const language of ['en', 'fr', 'es', 'uk', 'pa'])
      expect(read(word, { language }).meaning, language).toBe('stop')
  })

  it.each(['HELP', 'INFO', 'AIDE', 'AYUDA'])('"%s" asks for help', (word) => expect(read(word).meaning).toBe('help'))
  it.each(['START', 'UNSTOP'])('"%s" takes the texts up again', (word) => expect(read(word).meaning).toBe('rejoin'))

  it('are not meant where they only occur', () => {
    for (const text of ["don't stop", 'my period stopped', 'at the bus stop', 'please do not stop the reminders'])
      expect(read(text).meaning, text).not.toBe('stop')
  })

  it('"cancel" alone ends the texts and lets a person check; about the visit it does not', () => {
    expect(read('cancel')).toMatchObject({ meaning: 'stop', also: ['cannot-come'] })
    expect(read('cancel my appointment').meaning).toBe('cannot-come')
    expect(read('cancel these texts').meaning).toBe('stop')
  })
})

describe('what is only supposed', () => {
  it('tells of no bleeding', () => {
    for (const text of ["What if I'm on my period friday?", 'will I still be able to come if im bleeding'])
      expect(read(text).meaning, text).toBe('unclear')
  })
})

describe('an apostrophe', () => {
  it('tells "I’ll" from "ill" and "we’d" from Wednesday', () => {
    for (const text of [
      "It's raining so I'll be a bit late",
      'so I’ll see you then',
      "so I'll",
      'running behind so ill be late',
      'so I ll call',
      "we're very happy",
    ])
      expect([read(text).meaning, ...(read(text).also ?? [])], text).not.toContain('urgent')
    for (const text of ["I'm so ill", 'I am very ill', 'really ill today'])
      expect(read(text).meaning, text).toBe('urgent')
    for (const text of ["I'll be there", 'Ill be there', 'I’ll be there', "ok so I'll come"])
      expect(read(text).meaning, text).toBe('confirm')
    expect(read("my period started, we'd love to come another day").startedOn).toBe('2026-03-18')
    expect(read("it started, we'd rather not come").startedOn).not.toBe('2026-03-11')
  })
})

describe('the words our own texts ask for', () => {
  it.each([
    ['en', 'STARTED', 'period-started'],
    ['en', 'NOT YET', 'not-started'],
    ['en', 'NOT SURE', 'unclear'],
    ['en', 'START', 'rejoin'],
    ['fr', 'COMMENCÉ', 'period-started'],
    ['fr', 'COMMENCE', 'period-started'],
    ['fr', 'PAS ENCORE', 'not-started'],
    ['fr', 'JE NE SAIS PAS', 'unclear'],
    ['fr', 'REPRENDRE', 'rejoin'],
    ['es', 'YA VINO', 'period-started'],
    ['es', 'NO HA VENIDO', 'not-started'],
    ['es', 'NO SÉ', 'unclear'],
    ['es', 'START', 'rejoin'],
    ['uk', 'ПОЧАЛИСЯ', 'period-started'],
    ['uk', 'ЩЕ НІ', 'not-started'],
    ['uk', 'НЕ ЗНАЮ', 'unclear'],
    ['pa', 'ਆ ਗਈ', 'period-started'],
    ['pa', 'ਅਜੇ ਨਹੀਂ', 'not-started'],
  ])('are understood: %s "%s" is %s', (language, text, meaning) =>
    expect(read(text, { language }).meaning).toBe(meaning),
  )
})

describe('two meanings in one text', () => {
  it.each([
    ['started this morning, so Friday won’t work', 'period-started', 'cannot-come'],
    ['yes but I used a cream', 'prep-lapse', 'confirm'],
    ['period started yesterday and I am bleeding heavily', 'urgent', 'period-started'],
    ['stop texting me, wrong number', 'stop', 'wrong-person'],
    ['I have a fever, can we reschedule', 'urgent', 'cannot-come'],
    ['my period came today, can I take a bath?', 'period-started', 'prep-question'],
  ])('are both kept, the one that must not be overlooked first: "%s"', (text, first, second) => {
    expect(read(text)).toMatchObject({ meaning: first, also: expect.arrayContaining([second]) as unknown })
  })

  it('keep the start’s day also where something else is answered first', () => {
    expect(read('period started yesterday and I am bleeding heavily').startedOn).toBe('2026-03-17')
  })
})

describe('an open offer', () => {
  const offered = [Date.UTC(2026, 2, 31, 13), Date.UTC(2026, 3, 2, 12, 30), Date.UTC(2026, 3, 2, 18)].map(
    (ms) => new Date(ms),
  )
  const open = { choices: 3, offered }

  it('is answered by number, ordinal, weekday or time', () => {
    for (const [text, choice] of [
      ['2', 2],
      ['the third please', 3],
      ['the Tuesday one', 1],
      ['Tuesday works', 1],
      ['9:30', 2],
      ['15:00', 3],
      ['last one', 3],
    ] as const) {
      expect(read(text, open), text).toMatchObject({ meaning: 'choice', choice })
    }
  })

  it('is not answered by a number beyond it, two numbers, a weekday that two share, a bare yes or no, or another use of a number', () => {
    for (const text of ['4', '1 or 2', 'Thursday', 'yes', 'no', 'I have 2 kids', '2 days ago I was ill'])
      expect(read(text, open).meaning, text).not.toBe('choice')
  })

  it('of one time is taken by a yes', () =>
    expect(read('Yes please', { choices: 1 })).toMatchObject({ meaning: 'choice', choice: 1 }))
  it('must be there: without one a bare number is unclear', () => expect(read('2').meaning).toBe('unclear'))
})

describe('a preparation question', () => {
  it.each([
    ['Can I take a bath?', 'bath'],
    ['tampons ok?', 'tampon'],
    ['is it ok to have sex tonight', 'sex'],
    ['should I stop my blood pressure pills?', 'prescription'],
    ['can I use my prescribed cream', 'prescription'],
  ])('"%s" is about %s', (text, topic) => {
    expect(read(text)).toMatchObject({ meaning: 'prep-question', topic })
  })

  it('about two things has no topic, so that a person answers both', () => {
    const reading = read('can I have sex and use a tampon?')
    expect(reading.meaning).toBe('prep-question')
    expect(reading.topic).toBeUndefined()
  })
})

describe('a reading', () => {
  it('says which words it relied on, as written', () =>
    expect(read('Hi! My PERIOD started yesterday :)').words).toEqual(['My', 'PERIOD', 'started', 'yesterday']))

  it('notices another language than the stored one, but not in words that both share', () => {
    expect(read('mes règles ont commencé hier')).toMatchObject({
      meaning: 'period-started',
      startedOn: '2026-03-17',
      language: 'fr',
    })
    expect(read('ok').language).toBeUndefined()
    expect(read('STOP', { language: 'uk' }).language).toBeUndefined()
  })

  it('of bleeding after the menopause is an alarm and no start', () => {
    const reading = read('I went through menopause and I started bleeding yesterday')
    expect(reading.meaning).toBe('urgent')
    expect(reading.startedOn).toBeUndefined()
  })

  it('of a denied alarm is none', () => {
    for (const text of ['no fever', "I'm not pregnant", 'not bleeding heavily', 'negative pregnancy test'])
      expect(read(text).meaning, text).not.toBe('urgent')
  })
})
