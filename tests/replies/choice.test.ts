import { describe, expect, it } from 'vitest'
import { openings, read } from './reading.ts'

const one = openings('2026-03-24T09:00-03:00')
const three = openings('2026-03-24T09:00-03:00', '2026-03-26T09:30-03:00', '2026-03-27T15:00-03:00')
const visit = new Date('2026-03-20T10:30-03:00')

describe('one opening on offer', () => {
  it.each([
    'ok great see you Friday',
    'ok thanks',
    'great',
    'perfect see you then',
    'Ok',
    'Great!',
    'no friday is fine',
    'see you friday',
    'thanks',
    "I'll be there",
    'ok perfect',
    'yes see you friday',
    'yes friday',
    'yes tomorrow',
    'no',
    'no thanks',
    "I can't do that",
    'not 1',
    'is 1 in the morning?',
    'that works but can I come at 10?',
    'First, is there parking?',
    'that works on friday',
    'yes but not tuesday',
    'march 25 works',
    'yes march 25',
    '1, see you on march 27',
    "that's fine, see you on friday",
  ])('is not taken by a courtesy, a no or another day: "%s"', (text) => {
    expect(read(text, { ...one, visit }).meaning).not.toBe('choice')
  })

  it.each([
    'yes',
    'Yes please',
    'yep',
    '👍',
    '1',
    '1 please',
    'that works',
    "I'll take it",
    'works for me',
    'Tuesday',
    'Tuesday works',
    'tuesday at 9',
    '9:00',
    'the 24th',
    'yes tuesday',
    'Tue Mar 24 9:00am',
    'march 24',
    "yes that's good thank you",
    'tuesday march 24 works',
    "yes, I'll take it",
  ])('is taken by a bare yes, its number, its day or its time: "%s"', (text) => {
    expect(read(text, { ...one, visit })).toMatchObject({ meaning: 'choice', choice: 1 })
  })

  it.each([
    ['fr', 'oui', 'choice'],
    ['fr', 'je le prends', 'choice'],
    ['fr', 'ça me va', 'choice'],
    ['fr', 'super merci', 'thanks'],
    ['fr', 'ok à vendredi', 'unclear'],
    ['es', 'sí', 'choice'],
    ['es', 'me sirve', 'choice'],
    ['es', 'perfecto gracias', 'unclear'],
    ['es', 'nos vemos el viernes', 'unclear'],
    ['uk', 'так', 'choice'],
    ['uk', 'підходить', 'choice'],
    ['uk', 'добре', 'unclear'],
    ['pa', 'ਹਾਂ', 'choice'],
    ['pa', 'ਠੀਕ ਹੈ', 'unclear'],
  ])('is taken in every language by a plain yes only: %s "%s"', (language, text, meaning) => {
    expect(read(text, { ...one, visit, language }).meaning).toBe(meaning)
  })
})

describe('several openings on offer', () => {
  it.each([
    ['en', 'anything but 2'],
    ['en', '1 and 2 are out'],
    ['en', 'not 2'],
    ['en', "can't do 2"],
    ['en', 'all except 3'],
    ['en', 'no friday is fine'],
    ['en', "2 doesn't work"],
    ['en', '1, see you saturday'],
    ['en', 'see you Sunday &lt;3'],
    ['en', 'see you soon <3'],
    ['en', 'love it ❤️'],
    ['en', 'no 2'],
    ['en', 'neither 1 nor 3'],
    ['en', 'either 1 or 2'],
    ['en', 'but no one is there'],
    ['fr', 'pas la 2'],
    ['fr', 'tout sauf la 2'],
    ['fr', 'la 1 non'],
    ['es', 'la 1 no'],
    ['es', 'no la 2'],
    ['es', 'todas menos la 3'],
    ['uk', 'не 2'],
    ['uk', 'крім 2'],
    ['pa', 'ਮੰਗਲਵਾਰ ਨਹੀਂ'],
    ['pa', '2 ਨਹੀਂ'],
  ])('are not chosen by their refusal, by another day or by a heart: %s "%s"', (language, text) => {
    expect(read(text, { ...three, language }).meaning).not.toBe('choice')
  })

  it.each([
    ['en', '2', 2],
    ['en', '2 please', 2],
    ['en', 'the friday one', 3],
    ['en', '3, see you friday', 3],
    ['en', 'the 26th', 2],
    ['en', '9:30', 2],
    ['en', 'friday at 3', 3],
    ['en', 'Mar 26 please', 2],
    ['fr', 'le 26 mars svp', 2],
    ['fr', 'la 2 svp', 2],
    ['fr', 'vendredi', 3],
    ['es', 'la 3 por favor', 3],
    ['uk', '2', 2],
    ['pa', 'ਮੰਗਲਵਾਰ', 1],
  ])('are chosen by number, day or time: %s "%s"', (language, text, choice) => {
    expect(read(text, { ...three, language })).toMatchObject({ meaning: 'choice', choice })
  })

  it('a choice beside a start keeps the start’s day apart from the day chosen', () => {
    expect(read('my period started monday. 2 please', three)).toMatchObject({
      meaning: 'period-started',
      startedOn: '2026-03-16',
      also: ['choice'],
    })
  })
})
