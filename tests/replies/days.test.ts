import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'

const vocabulary = loadVocabulary()
const read = (text: string, receivedAt: string, zone = 'America/Halifax', language = 'en') =>
  readReply(
    text,
    { language, receivedAt: DateTime.fromISO(receivedAt, { zone }).toJSDate(), zone, choices: 0 },
    vocabulary,
  )
const startOf = (...told: Parameters<typeof read>) => read(...told).startedOn

// Expected dates are counted on a calendar by hand; what a phrase means is common practice, no source.
describe('the day a period started', () => {
  it.each([
    ['today', '2026-03-18'],
    ['this morning', '2026-03-18'],
    ['yesterday', '2026-03-17'],
    ['last night', '2026-03-17'],
    ['2 days ago', '2026-03-16'],
    ['three days ago', '2026-03-15'],
    ['a week ago', '2026-03-11'],
    ['two weeks ago', '2026-03-04'],
    ['on Monday', '2026-03-16'],
    ['Sunday', '2026-03-15'],
    ['on Wednesday', '2026-03-18'],
    ['on Thursday', '2026-03-12'],
    ['last Wednesday', '2026-03-11'],
    ['on the 15th', '2026-03-15'],
    ['on the 20th', '2026-02-20'],
    ['on the 31st', '2026-01-31'],
    ['March 3', '2026-03-03'],
    ['3 March', '2026-03-03'],
    ['the 3rd of March', '2026-03-03'],
    ['mar 3rd', '2026-03-03'],
    ['2026-03-03', '2026-03-03'],
    ['3/14', '2026-03-14'],
    ['14/3', '2026-03-14'],
    ['an hour ago', '2026-03-18'],
    ['the day before yesterday', '2026-03-16'],
  ])('is read from "my period started %s" on Wednesday 2026-03-18', (words, day) => {
    expect(startOf(`my period started ${words}`, '2026-03-18T14:00')).toBe(day)
  })

  it('is counted back from a numbered day of the period, day 1 being the first', () => {
    expect(startOf('day 3', '2026-03-18T14:00')).toBe('2026-03-16')
    expect(startOf('I am on day 1', '2026-03-18T14:00')).toBe('2026-03-18')
    expect(startOf('day 1 was Monday', '2026-03-18T14:00')).toBe('2026-03-16')
    expect(startOf('yesterday was day 2', '2026-03-18T14:00')).toBe('2026-03-16')
  })

  it('is the evening before when "tonight" or "last night" comes in just after midnight', () => {
    expect(startOf('it started tonight', '2026-03-18T00:10')).toBe('2026-03-17')
    expect(startOf('it started last night', '2026-03-18T03:59')).toBe('2026-03-17')
    expect(startOf('it started tonight', '2026-03-18T21:00')).toBe('2026-03-18')
    expect(startOf('it started an hour ago', '2026-03-18T00:30')).toBe('2026-03-17')
  })

  it("is the day on the patient's own clock, not on the server’s", () => {
    const instant = new Date(Date.UTC(2026, 2, 18, 3, 30))
    const at = (zone: string) =>
      readReply('started today', { language: 'en', receivedAt: instant, zone, choices: 0 }, vocabulary).startedOn
    expect(at('America/Vancouver')).toBe('2026-03-17')
    expect(at('Europe/London')).toBe('2026-03-18')
  })

  it('is not shifted by a change of the clocks or a turn of the year', () => {
    expect(startOf('started 2 days ago', '2026-03-09T00:30', 'America/New_York')).toBe('2026-03-07')
    expect(startOf('started yesterday', '2026-11-02T00:30', 'America/New_York')).toBe('2026-11-01')
    expect(startOf('started Dec 30', '2026-01-04T10:00')).toBe('2025-12-30')
    expect(startOf('started on the 30th', '2026-03-01T10:00')).toBe('2026-01-30')
    expect(startOf('my period started Feb 29', '2028-03-03T10:00')).toBe('2028-02-29')
  })

  it('follows the custom of the place when a numeric date could be either, and says that it is unsure', () => {
    const inCanada = read('period started 03/04', '2026-04-10T10:00')
    const inBritain = read('period started 03/04', '2026-04-10T10:00', 'Europe/London')
    expect([inCanada.startedOn, inBritain.startedOn]).toEqual(['2026-03-04', '2026-04-03'])
    expect(inBritain.confidence).toBeLessThan(0.7)
    expect(startOf('mes règles ont commencé le 03/04', '2026-04-10T10:00', 'America/Toronto', 'fr')).toBe('2026-04-03')
  })

  it('is today, a little less surely, when the patient names none', () => {
    const reading = read('Got my period', '2026-03-18T14:00')
    expect(reading).toMatchObject({ meaning: 'period-started', startedOn: '2026-03-18' })
    expect(reading.confidence).toBeLessThan(read('Got my period today', '2026-03-18T14:00').confidence)
  })

  it('is left open when the patient names none that can be dated', () => {
    for (const words of ['last week', 'a few days ago', 'over the weekend', 'at the end of last month']) {
      const reading = read(`my period started ${words}`, '2026-03-18T14:00')
      expect(reading.meaning, words).toBe('period-started')
      expect(reading.startedOn, words).toBeUndefined()
    }
  })

  it.each([
    ['en', 'my period started a fortnight ago', '2026-03-04'],
    ['en', "it didn't start until yesterday", '2026-03-17'],
    ['en', 'My period did not come until this morning', '2026-03-18'],
    ['en', 'my period only started yesterday', '2026-03-17'],
    ['fr', "mes règles n'ont commencé qu'hier", '2026-03-17'],
    ['es', 'no me bajó hasta ayer', '2026-03-17'],
    ['es', 'me bajó la regla hace quince días', '2026-03-03'],
    ['es', 'me bajó la regla hace 15 dias', '2026-03-03'],
    ['uk', 'місячні почалися лише вчора', '2026-03-17'],
    ['pa', 'ਮਾਹਵਾਰੀ ਪੰਜ ਦਿਨ ਪਹਿਲਾਂ ਸ਼ੁਰੂ ਹੋਈ', '2026-03-13'],
    ['pa', '3 ਦਿਨ ਪਹਿਲਾਂ ਮਾਹਵਾਰੀ ਸ਼ੁਰੂ ਹੋਈ', '2026-03-15'],
    ['pa', 'ਮਾਹਵਾਰੀ ੩ ਦਿਨ ਪਹਿਲਾਂ ਸ਼ੁਰੂ ਹੋਈ', '2026-03-15'],
    ['pa', 'ਮਾਹਵਾਰੀ ਦੋ ਹਫ਼ਤੇ ਪਹਿਲਾਂ ਸ਼ੁਰੂ ਹੋਈ', '2026-03-04'],
    ['en', 'my period started Saturday the 14th', '2026-03-14'],
    ['en', 'day 3 today', '2026-03-16'],
    ['en', 'got my period 3 days ago', '2026-03-15'],
    ['en', 'period 2 days ago', '2026-03-16'],
    ['en', "I've been on my period for 3 days since Sunday", '2026-03-15'],
  ])('is read from %s "%s"', (language, text, day) => {
    expect(startOf(text, '2026-03-18T14:00', 'America/Halifax', language)).toBe(day)
  })

  it.each([
    ['en', 'my period started tuesday last week'],
    ['en', 'started last week tuesday'],
    ['en', 'it started a week ago monday'],
    ['en', 'my period started 1 week and 2 days ago'],
    ['en', 'started yesterday, I mean monday'],
    ['en', 'my period started yesterday no monday'],
    ['en', 'my period started 3-4 days ago'],
    ['en', 'my period started twenty one days ago'],
    ['en', 'my period started two weeks 3 days ago'],
    ['en', 'my period started a week and a half ago'],
    ['en', 'my period started on Monday the 10th'],
    ['fr', 'mes règles ont commencé il y a une quinzaine'],
    ['fr', 'mes règles ont commencé il y a une quinzaine de jours'],
    ['fr', 'mes règles ont commencé lundi de la semaine dernière'],
    ['fr', 'mes règles ont commencé il y a dix-sept jours'],
    ['es', 'me bajó la regla el lunes de la semana pasada'],
    ['es', 'me bajó la regla hace una semana y dos días'],
    ['uk', 'місячні почалися півтора тижні тому'],
    ['pa', 'ਮਾਹਵਾਰੀ ਸ਼ੁਰੂ ਹੋਈ ਡੇਢ ਹਫ਼ਤਾ ਪਹਿਲਾਂ'],
  ])('is left open rather than guessed where the words were not wholly understood: %s "%s"', (language, text) => {
    const reading = read(text, '2026-03-18T14:00', 'America/Halifax', language)
    expect(reading.meaning).toBe('period-started')
    expect(reading.startedOn).toBeUndefined()
  })

  it('is the date where the patient names weekday and date, and open where the patient names two', () => {
    for (const words of ['on Monday March 9th', 'Monday the 9th', 'on the 9th, Monday', 'Monday 9'])
      expect(startOf(`my period started ${words}`, '2026-03-18T14:00'), words).toBe('2026-03-09')
    expect(startOf('mes règles ont commencé lundi 9', '2026-03-18T14:00', 'America/Toronto', 'fr')).toBe('2026-03-09')
    expect(read('my period started Monday or Tuesday', '2026-03-18T14:00')).toMatchObject({ meaning: 'period-started' })
    expect(startOf('my period started Monday or Tuesday', '2026-03-18T14:00')).toBeUndefined()
    expect(startOf('my period started on the 20 january', '2026-03-18T14:00')).toBe('2026-01-20')
  })

  it('is read from a day alone where the patient was asked for it, and only there', () => {
    const answer = (text: string, asked?: 'day') =>
      readReply(
        text,
        {
          language: 'en',
          receivedAt: new Date(Date.UTC(2026, 2, 18, 17)),
          zone: 'America/Halifax',
          choices: 0,
          ...(asked && { asked }),
        },
        vocabulary,
      )
    for (const [text, day] of [
      ['Feb 20', '2026-02-20'],
      ['yesterday', '2026-03-17'],
      ['Yes, Monday', '2026-03-16'],
      ['the 15th', '2026-03-15'],
      ['It was on March 3', '2026-03-03'],
    ]) {
      expect(answer(text!, 'day')).toMatchObject({ meaning: 'period-started', startedOn: day })
      expect(answer(text!).meaning, text).not.toBe('period-started')
    }
    for (const text of ['Monday works', 'see you Monday', 'tomorrow', 'can I come on the 15th', 'NOT SURE'])
      expect(answer(text, 'day').meaning, text).not.toBe('period-started')
  })

  it('is not taken from the visit the patient speaks of', () => {
    expect(startOf('my period started yesterday and my appointment is on Monday', '2026-03-18T14:00')).toBe(
      '2026-03-17',
    )
    expect(startOf('I am booked for Friday but my period came today', '2026-03-18T14:00')).toBe('2026-03-18')
  })

  it('is never later than the receipt, whatever the patient writes and whenever it comes in', () => {
    const words = fc.constantFrom(
      'today',
      'tonight',
      'tomorrow',
      'on Friday',
      'last Friday',
      'next Friday',
      'on the 30th',
      'the 1st',
      'March 31',
      '31/12',
      '12/31',
      '2027-01-01',
      'in 3 days',
      '4 hours ago',
      'day 4',
      'Feb 29',
    )
    const says = fc.constantFrom('my period started', 'started', 'got my period', 'it came', 'my last period was')
    const moment = fc.date({
      min: new Date(Date.UTC(2025, 0, 1)),
      max: new Date(Date.UTC(2029, 0, 1)),
      noInvalidDate: true,
    })
    const zone = fc.constantFrom('America/Halifax', 'Pacific/Auckland', 'Asia/Kolkata', 'America/St_Johns', 'UTC')
    fc.assert(
      fc.property(says, words, moment, zone, (phrase, day, receivedAt, where) => {
        const { startedOn } = readReply(
          `${phrase} ${day}`,
          { language: 'en', receivedAt, zone: where, choices: 0 },
          vocabulary,
        )
        const today = DateTime.fromJSDate(receivedAt, { zone: where }).toISODate()!
        expect(startedOn === undefined || startedOn <= today).toBe(true)
      }),
      { numRuns: 500 },
    )
  })
})
