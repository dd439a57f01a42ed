import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// Punjabi in Roman letters, as on telephones without Gurmukhi, and Russian from patients who read Ukrainian. Invented
// texts; what each means is judged by hand, no published source. More of them stand in the corpus.
const BESIDE_MORE: [language: string, text: string][] = [
  ['pa', 'mahwari aa gayi, bahut zyada khoon'],
  ['pa', 'mahwari aa gayi te bahut dard hai'],
  ['pa', 'aa gayi, bahut khoon'],
  ['pa', 'ajj chakkar aa gaye'],
  ['pa', 'mahwari aa gayi, dawai band kar ditti'],
  ['pa', 'aje nahi, bahut dard hai'],
  ['pa', 'mahwari nahi aayi, main pregnant haan'],
  ['pa', 'je mahwari aa gayi ta?'],
  ['pa', 'meri bhen di mahwari shuru ho gayi'],
  ['uk', 'месячные начались, сильное кровотечение'],
  ['uk', 'начались месячные и я потеряла сознание'],
  ['uk', 'вчера начались месячные, очень больно'],
  ['uk', 'месячных нет уже 2 месяца'],
  ['uk', 'у дочки начались месячные'],
]

describe('a start or a no in other letters or in a neighbour’s language', () => {
  // Few alarming words are known there: what is not understood must reach a person, not be answered as a plain start.
  it.each(BESIDE_MORE)('hides nothing that is said beside it: %s “%s”', (language, text) => {
    for (const asked of [undefined, 'started', 'either'] as const) {
      const { meaning } = read(text, { language, ...(asked && { asked }) })
      expect(['urgent', 'unclear']).toContain(meaning)
    }
  })

  it('leaves the day open where the question was whether it has started', () => {
    for (const [language, text] of [
      ['pa', 'aa gayi'],
      ['uk', 'начались'],
      ['fr', "c'est commencé"],
    ] as const) {
      const reading = read(text, { language, asked: 'started' })
      expect(reading).toMatchObject({ meaning: 'period-started' })
      expect(reading).not.toHaveProperty('startedOn')
    }
  })

  it('never takes “commencer”, a slip for COMMENCÉ, for a wish to get texts again', () => {
    expect(read('Commencer', { language: 'fr' }).meaning).toBe('period-started')
    expect(read('REPRENDRE', { language: 'fr' }).meaning).toBe('rejoin')
  })
})
