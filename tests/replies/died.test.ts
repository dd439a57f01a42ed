import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// Whoever writes may be the family. Judged by hand, no source.
describe('the patient’s death', () => {
  it.each([
    ['en', 'She passed away in January.'],
    ['en', 'mum died'],
    ['en', 'deceased'],
    ['en', "she's dead"],
    ['en', 'She died last week'],
    ['en', 'My mother passed away on Sunday'],
    ['en', 'The patient is deceased'],
    ['en', "I'm sorry to tell you that she has died"],
    ['en', 'My wife has passed'],
    ['en', 'she is no longer with us'],
    ['en', 'Patient died'],
    ['en', 'Hi, my daughter passed away. Please take her off your list'],
    ['en', 'we lost her in february'],
    ['en', 'Maria passed away'],
    ['en', 'he died'],
    ['en', 'She passed'],
    ['en', 'This is her husband. She died, please stop texting'],
    ['en', 'Why do you keep texting my dead mother'],
    ['fr', 'elle est morte'],
    ['fr', 'Ma mère est décédée'],
    ['fr', 'elle nous a quittés'],
    ['fr', 'Elle n’est plus de ce monde'],
    ['fr', 'décédée'],
    ['fr', 'maman est décédée en janvier'],
    ['es', 'ella falleció'],
    ['es', 'mi mamá murió'],
    ['es', 'mi mama murio'],
    ['es', 'ya no está con nosotros'],
    ['es', 'la paciente falleció'],
    ['es', 'falleció ayer'],
    ['uk', 'вона померла'],
    ['uk', 'її більше немає'],
    ['uk', 'мама померла'],
    ['uk', 'її не стало'],
    ['pa', 'ਉਹ ਗੁਜ਼ਰ ਗਈ'],
    ['pa', 'ਉਹ ਨਹੀਂ ਰਹੇ'],
    ['pa', 'ਉਹ ਮਰ ਗਈ ਹੈ'],
    ['pa', 'ਮੇਰੀ ਮਾਂ ਦੀ ਮੌਤ ਹੋ ਗਈ'],
  ])('is understood, plain or in euphemism: %s "%s"', (language, text) => {
    expect(read(text, { language }).meaning).toBe('died')
  })

  it('comes before everything else, and a stop beside it is kept', () => {
    expect(read('She died. Stop texting me')).toMatchObject({ meaning: 'died', also: ['stop'] })
    expect(read('ella falleció, no manden más mensajes', { language: 'es' })).toMatchObject({
      meaning: 'died',
      also: ['stop'],
    })
    expect(read('wrong number and anyway she died').meaning).toBe('died')
  })

  it.each([
    ['en', "my dad died so I can't come"],
    ['en', 'my grandma passed away, funeral on friday'],
    ['en', 'my phone died'],
    ['en', 'battery is dead'],
    ['en', "I'm dead lol"],
    ['en', 'dying laughing'],
    ['en', "she's dead tired"],
    ['en', 'I nearly died'],
    ['en', 'he died laughing'],
    ['en', 'the car died on me'],
    ['en', "my mum died so I can't come friday"],
    ['en', 'My mother died and I need to reschedule my appointment'],
    ['en', 'my mom died in 2010, when I was pregnant'],
    ['en', 'my dog died'],
    ['en', 'when she died I was ten'],
    ['en', 'I thought she died'],
    ['en', 'Is she dead?'],
    ['en', 'sorry my phone was dead, she is coming'],
    ['en', 'my uncle passed away'],
    ['en', 'my mother in law died'],
    ['en', 'my period started yesterday, also my mum died'],
    ['en', 'I passed'],
    ['en', 'my baby died'],
    ['en', 'not dead yet haha'],
    ['en', 'She passed her exam'],
    ['en', 'I lost my mother last week and cannot think about this'],
    ['en', 'she passed out'],
    ['en', "she's dead to me"],
    ['fr', 'je suis morte de rire'],
    ['fr', 'mon téléphone est mort'],
    ['fr', 'mon père est décédé, je ne peux pas venir'],
    ['fr', 'elle est morte de fatigue'],
    ['es', 'me muero de risa'],
    ['es', 'se me murió el celular'],
    ['es', 'mi abuela falleció'],
    ['es', 'mi mamá murió y no puedo ir'],
    ['es', 'está muerta de cansancio'],
    ['uk', 'телефон помер'],
    ['uk', 'моя бабуся померла, не зможу прийти'],
    ['pa', 'ਮੇਰਾ ਫੋਨ ਬੰਦ ਸੀ'],
  ])('is not told of somebody who may be alive: %s "%s"', (language, text) => {
    const { meaning, also = [] } = read(text, { language })
    expect([meaning, ...also]).not.toContain('died')
  })

  it('of a relative leaves what else is said', () => {
    expect(read("my dad died so I can't come").meaning).toBe('cannot-come')
    expect(read("my mum died so I can't come friday").meaning).toBe('cannot-come')
  })
})
