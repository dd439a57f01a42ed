import type { Speech } from './speech.ts'

/** Some half an hour of speech. */
const MOST_BYTES = 32_000_000

/**
 * Says the same words in the same voice once, for all calls: 32 calls that are due at once share their greetings and
 * menus. What was said names visits and clinics, so it is kept in memory only, and what was not said for longest goes
 * first.
 */
export function keptSpeech(speech: Speech, mostBytes = MOST_BYTES): Speech {
  const kept = new Map<string, Promise<Int16Array>>()
  let bytes = 0

  function makeRoom(): void {
    for (const [key, said] of kept) {
      if (bytes <= mostBytes) return
      kept.delete(key)
      void said.then(({ byteLength }) => (bytes -= byteLength)).catch(() => {})
    }
  }

  return {
    speaks: (language) => speech.speaks(language),
    ready: () => speech.ready(),
    speak: (words, voice) => {
      const key = JSON.stringify([voice.language, voice.locale, words])
      const known = kept.get(key)
      kept.delete(key)
      const said = known ?? speech.speak(words, voice)
      kept.set(key, said)
      if (known) return said
      return said.then(
        (samples) => {
          bytes += samples.byteLength
          makeRoom()
          return samples
        },
        (error: unknown) => {
          if (kept.get(key) === said) kept.delete(key)
          throw error
        },
      )
    },
  }
}
