import { describe, expect, it } from 'vitest'
import { keptSpeech } from '../../src/adapters/gateways/speech/kept-speech.ts'
import { SpeechFault, type Speech } from '../../src/adapters/gateways/speech/speech.ts'

const EN = { language: 'en', locale: 'en-CA' }
const FR = { language: 'fr', locale: 'fr-CA' }

/** An engine that says a thousand samples of anything but "x", and notes what it was asked for. */
function engine(): { speech: Speech; asked: string[] } {
  const asked: string[] = []
  const speak = async (words: string, { language }: { language: string }) => {
    asked.push(`${language} ${words}`)
    await Promise.resolve()
    if (words === 'x') throw new SpeechFault('engine')
    return new Int16Array(1_000)
  }
  return { speech: { speaks: () => true, ready: async () => true, speak }, asked }
}

describe('speech that is kept', () => {
  it('is made once for the same words and voice, also for calls that begin at once', async () => {
    const { speech, asked } = engine()
    const kept = keptSpeech(speech)
    await Promise.all([kept.speak('a', EN), kept.speak('a', EN), kept.speak('a', FR)])
    await kept.speak('a', EN)
    expect(asked).toEqual(['en a', 'fr a'])
  })

  it('takes no more room than it is given: what was not said for longest goes first', async () => {
    const { speech, asked } = engine()
    const kept = keptSpeech(speech, 4_000) // two of them
    for (const words of ['a', 'b', 'a', 'c', 'a', 'b']) await kept.speak(words, EN)
    expect(asked).toEqual(['en a', 'en b', 'en c', 'en b'])
  })

  it('is tried again after a fault, and takes no room for it', async () => {
    const { speech, asked } = engine()
    const kept = keptSpeech(speech, 4_000)
    for (let n = 0; n < 3; n++) await expect(kept.speak('x', EN)).rejects.toThrow('engine')
    for (const words of ['a', 'b', 'a', 'b']) await kept.speak(words, EN)
    expect(asked).toEqual(['en x', 'en x', 'en x', 'en a', 'en b'])
  })
})
