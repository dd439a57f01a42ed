import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// What a text means by what was asked. Own texts, no source; received on Wednesday 2026-03-18, see `reading.ts`.
const day = (text: string, language = 'en') => read(text, { language, asked: 'day' })
const started = (text: string, language = 'en') => read(text, { language, asked: 'started' })
const coming = (text: string, language = 'en') => read(text, { language, asked: 'coming' })
const pick = (text: string, language = 'en', choices = 3) => read(text, { language, asked: 'which-time', choices })

describe('asked for the day', () => {
  it.each([
    ['en', 'I told you on the phone. Sunday.', '2026-03-15'],
    ['en', 'Monday, pretty sure, deffo monday', '2026-03-16'],
    ['en', "it wasn't Saturday it was Sunday", '2026-03-15'],
    ['en', 'not this sunday the one before', '2026-03-08'],
    ['fr', 'pas dimanche, lundi', '2026-03-16'],
    ['fr', 'dim', '2026-03-15'],
    ['es', 'no fue el lunes fue el domingo', '2026-03-15'],
    ['es', 'no este domingo, el otro', '2026-03-08'],
    ['uk', 'не в понеділок, в неділю', '2026-03-15'],
    ['uk', 'нд', '2026-03-15'],
    ['pa', 'is somvaar nahi us to pehle wale', '2026-03-09'],
  ])('%s: %j is a start on %s', (language, text, on) => {
    expect(day(text, language)).toMatchObject({ meaning: 'period-started', startedOn: on })
  })

  // The day of the last period is asked for too: whoever does not know it says of no start that it has come.
  it.each([
    ['en', 'no clue sorry, head like a colander'],
    ['fr', 'aucune idée'],
    ['es', 'ni idea'],
    ['uk', 'не записала'],
    ['pa', 'yaad nahi'],
  ])('%s: %j is left to a person', (language, text) => expect(day(text, language).meaning).toBe('unclear'))

  it.each([
    ['en', 'a couple of days ago'],
    ['en', 'monday or tuesday, one of them'],
  ])('%s: %j is a start without a day', (language, text) => {
    const reading = day(text, language)
    expect(reading.meaning).toBe('period-started')
    expect(reading.startedOn).toBeUndefined()
  })

  it.each(['the 31st', '19th', 'not Monday', 'my new job began Monday', 'is Monday ok?', 'the day after Monday'])(
    '%j is no start',
    (text) => expect(day(text).meaning).not.toBe('period-started'),
  )
})

describe('asked whether it began', () => {
  it.each([
    ['en', 'the wife says yes since Saturday', '2026-03-14'],
    ['en', 'it arrived while I was feeding the ducks last night', '2026-03-17'],
    ['en', 'indeed it has, on Sunday evening', '2026-03-15'],
    ['es', 'si, mucho pero asi soy, desde el domingo', '2026-03-15'],
  ])('%s: %j is a start on %s', (language, text, on) => {
    expect(started(text, language)).toMatchObject({ meaning: 'period-started', startedOn: on })
  })

  it.each([
    ['en', "I'd have told you if it had"],
    ['en', 'in 3 days I reckon'],
    ['en', 'it was supposed to come sunday'],
    ['en', 'my sisters got it, me no'],
    ['fr', 'ma mère oui, moi non'],
    ['es', 'a mi prima ya, a mi no'],
    ['uk', 'якби почались, я б написала'],
  ])('%s: %j is none yet', (language, text) => {
    expect(started(text, language).meaning).toBe('not-started')
  })

  it.each([
    'new course started monday',
    'clean since Sunday',
    'Monday works',
    'started school yesterday',
    "yes, I'm free Saturday",
    'am I supposed to fast',
    'Both my girls came on today',
  ])('%j tells no start', (text) => expect(started(text).meaning).not.toBe('period-started'))
})

describe('a choice among three', () => {
  it.each([
    ['en', '1 no 2 yes', 2],
    ['en', 'Yes to 3', 3],
    ['en', '2!! no wait thats the plumber. 3', 3],
    ['en', 'was going to say 3 but 1', 1],
    ['en', '2 or 3? 3', 3],
    ['en', 'the 3rd of the three', 3],
    ['en', 'III', 3],
    ['en', 'nr 3', 3],
    ['en', '2️⃣', 2],
    ['en', 'the middle one', 2],
    ['fr', 'deux... non attends, la une', 1],
    ['es', '1 no, 3 si', 3],
    ['uk', 'другий.. ой ні, третій', 3],
    ['pa', 'dusra', 2],
  ])('%s: %j', (language, text, choice) => {
    expect(pick(text, language)).toMatchObject({ meaning: 'choice', choice })
  })

  it.each([
    'is 2 still there?',
    '2 and 3 are both school hours',
    '1st or 3rd, which is quieter',
    '2, wait, 3 no',
    'no 1 yes',
  ])('%j is none', (text) => expect(pick(text).meaning).not.toBe('choice'))

  it.each([
    ['en', 'nothing yet but move me to 3 to be safe', 'not-started'],
    ['fr', 'pas commencé, mais mettez-moi au 2 par précaution', 'not-started'],
    ['es', 'no me baja pero muevame a la 2 por si acaso', 'not-started'],
    ['uk', 'не почались, але краще 2 про всяк випадок', 'not-started'],
  ])('%s: %j is one beside news', (language, text, also) => {
    const reading = read(text, { language, asked: 'started', choices: 3 })
    expect(reading.meaning).toBe('choice')
    expect(reading.also).toContain(also)
  })

  it('is refused as a whole, and one opening is taken gladly', () => {
    expect(pick('they all clash').meaning).toBe('cannot-come')
    expect(pick('what if they all clash').meaning).not.toBe('cannot-come')
    expect(pick('perfecto', 'es', 1)).toMatchObject({ meaning: 'choice', choice: 1 })
  })
})

describe('asked two things at once', () => {
  it.each([
    ['en', 'ok'],
    ['fr', 'correct'],
    ['es', 'ok'],
    ['uk', 'ок'],
    ['pa', 'theek aa'],
  ])('%s: %j answers neither', (language, text) => {
    expect(read(text, { language, asked: 'either' }).meaning).not.toBe('confirm')
  })
})

describe('asked whether the patient comes', () => {
  it.each([
    ['en', 'yes, cancel it'],
    ['fr', 'oui annulez'],
    ['uk', 'так, скасуйте'],
  ])('%s: %j takes the visit back, not the texts', (language, text) => {
    const reading = coming(text, language)
    expect(reading.meaning).toBe('cannot-come')
    expect(reading.also ?? []).not.toContain('stop')
  })

  it.each([
    ['en', "no, I don't need another date, this one's fine"],
    ['fr', "pas besoin d'annuler, ma voisine garde le petit"],
    ['es', 'no hace falta cambiarla asi esta bien'],
    ['uk', 'не треба переносити, все добре'],
  ])('%s: %j keeps it', (language, text) => expect(coming(text, language).meaning).toBe('confirm'))

  it.each([
    ['en', 'yeah no'],
    ['fr', 'oui non'],
    ['en', "a lady doctor or I won't come"],
    ['fr', 'je veux une femme sinon je viens pas'],
    ['es', 'quiero doctora, si es hombre no voy'],
    ['en', "not sure I'd be allowed, I'm on a course"],
  ])('%s: %j is neither', (language, text) => {
    expect(['confirm', 'cannot-come']).not.toContain(coming(text, language).meaning)
  })

  it('refuses the day, and tells a start on another', () => {
    expect(coming('el jueves no, me bajo ayer', 'es')).toMatchObject({ startedOn: '2026-03-17' })
    expect(coming('el jueves no, me bajo ayer', 'es').also).toContain('cannot-come')
  })
})

describe('nothing asked', () => {
  it.each([
    ['en', 'got it, thanks'],
    ['fr', 'OK merci'],
    ['es', 'recibido gracias'],
    ['pa', 'ਠੀਕ ਆ ਜੀ ਮਿਹਰਬਾਨੀ'],
  ])('%s: %j is a courtesy', (language, text) => {
    const reading = read(text, { language })
    expect(reading.meaning).toBe('thanks')
    expect(reading.also ?? []).not.toContain('confirm')
  })

  it.each([
    ['en', 'how do i stop the bleeding'],
    ['fr', 'comment arrêter le saignement'],
    ['es', 'como paro el sangrado'],
  ])('%s: %j is no stop', (language, text) => {
    const reading = read(text, { language })
    expect([reading.meaning, ...(reading.also ?? [])]).not.toContain('stop')
    expect([reading.meaning, ...(reading.also ?? [])]).not.toContain('bleeding-ended')
  })
})

describe('an alarm', () => {
  it('is none of the patient where a friend had it, or it is a way of speaking', () => {
    expect(started('It started Sunday. My friend nearly bled to death with hers once').meaning).toBe('period-started')
    expect(started('cramps are killing me lol as usual. day one today').meaning).toBe('period-started')
  })

  it('stays one in doubt', () => {
    expect(started('my friend is bleeding to death').meaning).toBe('urgent')
    expect(started('cramps are killing me. day one today').meaning).toBe('urgent')
    expect(started('started sunday lol, I am bleeding to death as usual').meaning).toBe('urgent')
  })
})
