import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// What stands around an intention: each pair says the same of the visit, once meant and once not. Own texts, no source.
describe('an intention', () => {
  it.each([
    ['en', 'cancel my appointment please', "please don't cancel my appointment, I am coming"],
    ['en', 'I need to reschedule', 'no need to reschedule its fine'],
    ['en', "I can't come on Friday", "my daughter can't come so I'm taking a cab"],
    ['en', "I can't come, my daughter is sick", "my husband can't come with me is that ok"],
    ['en', 'I have to cancel', "do I have to cancel if I'm on my period"],
    ['en', 'cancel my visit', 'why did you cancel my visit'],
    ['fr', 'je dois changer la date', 'pas besoin de changer la date'],
    ['fr', 'je dois annuler', 'est-ce que je dois annuler si je saigne'],
    ['es', 'quiero cancelar mi cita', 'no cancelen mi cita'],
    ['es', 'no puedo ir', 'mi esposo no puede ir conmigo'],
    ['uk', 'скасуйте мій прийом', 'не скасовуйте мій прийом'],
    ['pa', 'ਮੁਲਾਕਾਤ ਰੱਦ ਕਰੋ', 'ਮੁਲਾਕਾਤ ਰੱਦ ਨਾ ਕਰੋ'],
  ])('%s: %j is one, %j is none', (language, meant, not) => {
    expect(read(meant, { language }).meaning).toBe('cannot-come')
    expect(read(not, { language }).meaning).not.toBe('cannot-come')
    expect(read(not, { language }).meaning).not.toBe('stop')
  })

  it('to end the texts is heard from anybody, and not where it is denied', () => {
    expect(read('my daughter wants you to stop texting me').meaning).toBe('stop')
    expect(read("don't stop texting me").meaning).not.toBe('stop')
  })

  it('is no yes where it hangs on something', () => {
    expect(read('a ver si puedo, le aviso', { language: 'es' }).meaning).toBe('unclear')
    expect(read('no and yes', { asked: 'either' }).meaning).toBe('unclear')
  })
})
