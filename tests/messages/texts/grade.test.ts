import { describe, expect, test } from 'vitest'
import {
  fernandezHuertaEase,
  fleschEase,
  fleschKincaidGrade,
  gradeOfEase,
  kandelMolesEase,
  readingCounts,
  readingGrade,
} from '../../../src/domain/messages/texts/grade.ts'
import { countSyllables } from '../../../src/domain/messages/texts/syllables.ts'

describe('reading formulas', () => {
  test('the platypus sentence has grade 11.3 (published example of Flesch-Kincaid, 13 words and 24 syllables)', () => {
    const text = 'The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.'
    expect(readingCounts(text, 'flesch-kincaid')).toEqual({ words: 13, sentences: 1, syllables: 24 })
    expect(fleschKincaidGrade({ words: 13, sentences: 1, syllables: 24 })).toBeCloseTo(11.265, 3)
    expect(fleschEase({ words: 13, sentences: 1, syllables: 24 })).toBeCloseTo(37.455, 3)
    expect(readingGrade(readingCounts(text, 'flesch-kincaid'), 'flesch-kincaid')).toBe(11.3)
  })

  test('cool dogs have ease 83.32 and grade 2.88 (the textstat test suite)', () => {
    const counts = readingCounts('Cool dogs wear da sunglasses.', 'flesch-kincaid')
    expect(counts).toEqual({ words: 5, sentences: 1, syllables: 7 })
    expect(fleschEase(counts)).toBeCloseTo(83.32, 2)
    expect(fleschKincaidGrade(counts)).toBeCloseTo(2.88, 2)
  })

  test('the cat on the mat is below the first grade (computed from the formula)', () => {
    const counts = readingCounts('The cat sat on the mat.', 'flesch-kincaid')
    expect(fleschEase(counts)).toBeCloseTo(116.145, 3)
    expect(fleschKincaidGrade(counts)).toBeCloseTo(-1.45, 2)
  })

  test('100 words, 10 sentences, 130 syllables: grade 3.65, ease 86.705 (computed from the formula)', () => {
    const counts = { words: 100, sentences: 10, syllables: 130 }
    expect(fleschKincaidGrade(counts)).toBeCloseTo(3.65, 2)
    expect(fleschEase(counts)).toBeCloseTo(86.705, 3)
  })

  test('ten words a sentence: Fernández-Huerta 88.64 at 1.8, Kandel-Moles 86.45 at 1.5 syllables a word', () => {
    expect(fernandezHuertaEase({ words: 100, sentences: 10, syllables: 180 })).toBeCloseTo(88.64, 2)
    expect(kandelMolesEase({ words: 100, sentences: 10, syllables: 150 })).toBeCloseTo(86.45, 2)
  })

  test('an ease of 80 counts as the sixth grade, 90 as the fifth', () => {
    expect([gradeOfEase(90), gradeOfEase(80), gradeOfEase(70)]).toEqual([5, 6, 7])
  })
})

describe('what is counted', () => {
  test('times, numbers, telephone numbers and the clinic are not words of ours', () => {
    const text = 'Riverbend Medical Clinic: Call +1 613 555 0142 at 10:30am, 48 hours before.'
    expect(readingCounts(text, 'flesch-kincaid', ['Riverbend Medical Clinic', '+1 613 555 0142'])).toEqual({
      words: 4,
      sentences: 1,
      syllables: 5,
    })
  })

  test('a colon, a question mark and a new line end a sentence, the colon of a time does not', () => {
    expect(readingCounts('Open times:\n1: Monday at 10:30 sharp\nAny? Yes. No!', 'flesch-kincaid').sentences).toBe(5)
  })

  test('parlez-vous is two French words, rendez-vous one', () => {
    expect(readingCounts('De quel rendez-vous parlez-vous?', 'kandel-moles').words).toBe(5)
  })

  test('a language without an established formula has no grade, nor has a text without words', () => {
    expect(readingGrade(readingCounts('Ваш візит', 'none'), 'none')).toBeNull()
    expect(readingGrade(readingCounts('1, 2, 3', 'flesch-kincaid'), 'flesch-kincaid')).toBeNull()
  })
})

// Counted by hand; spoken, not written syllables.
describe('syllables', () => {
  test.each(
    Object.entries({
      clinic: 2,
      visit: 2,
      booked: 1,
      started: 2,
      prescribed: 2,
      medicine: 3,
      period: 3,
      people: 2,
      table: 2,
      times: 1,
      nurses: 2,
      wednesday: 2,
      january: 4,
      usual: 3,
      serious: 3,
      previous: 3,
      cautious: 2,
      vaginal: 3,
      lubricant: 3,
      emergency: 4,
      the: 1,
      seeing: 2,
      language: 2,
      create: 2,
      safely: 2,
      "don't": 1,
      breathe: 1,
    }),
  )('English: %s', (word, syllables) => expect(countSyllables(word, 'flesch-kincaid')).toBe(syllables))

  test.each(
    Object.entries({
      cita: 2,
      regla: 2,
      siga: 2,
      recetado: 4,
      llamar: 2,
      quiere: 2,
      guerra: 2,
      lingüista: 3,
      día: 2,
      país: 2,
      leer: 2,
      ahora: 3,
      hoy: 1,
      mayo: 2,
      ciudad: 2,
      lubricante: 4,
      emergencias: 4,
      y: 1,
      que: 1,
      también: 2,
      ruido: 2,
    }),
  )('Spanish: %s', (word, syllables) => expect(countSyllables(word, 'fernandez-huerta')).toBe(syllables))

  test.each(
    Object.entries({
      règles: 1,
      vous: 1,
      répondez: 3,
      prescrit: 2,
      clinique: 2,
      créer: 2,
      "l'heure": 1,
      "d'aide": 1,
      le: 1,
      achetée: 3,
      date: 1,
      question: 2,
      urgence: 2,
      message: 2,
      numéro: 3,
      bain: 1,
      appeler: 3,
      rdv: 3,
      longue: 1,
    }),
  )('French: %s', (word, syllables) => expect(countSyllables(word, 'kandel-moles')).toBe(syllables))
})
