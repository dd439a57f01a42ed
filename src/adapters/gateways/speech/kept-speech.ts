import type { Speech, Voice } from './speech.ts'

/** Some half an hour of speech. */
const MOST_BYTES = 32_000_000

interface Kept {
  said: Promise<Int16Array>
  /** 0 while it is being made. */
  bytes: number
}

/**
 * Says the same words in the same voice once, for all calls: 32 calls that are due at once share their greetings and
 * menus. What was said names visits and clinics, so it is kept in memory only, and what was not said for longest goes
 * first.
 */
export function keptSpeech(speech: Speech, mostBytes = MOST_BYTES): Speech {
  const kept = new Map<string, Kept>()

  function makeRoom(): void {
    let bytes = [...kept.values()].reduce((sum, each) => sum + each.bytes, 0)
    for (const [key, each] of kept) {
      if (bytes <= mostBytes) return
      bytes -= each.bytes
      kept.delete(key)
    }
  }

  async function make(key: string, words: string, voice: Voice): Promise<Int16Array> {
    const entry: Kept = { said: speech.speak(words, voice), bytes: 0 }
    kept.set(key, entry)
    try {
      const samples = await entry.said
      entry.bytes = samples.byteLength
      makeRoom()
      return samples
    } catch (error) {
      kept.delete(key)
      throw error
    }
  }

  return {
    speaks: (language) => speech.speaks(language),
    ready: () => speech.ready(),
    speak: (words, voice) => {
      const key = JSON.stringify([voice.language, voice.locale, words])
      const known = kept.get(key)
      if (known === undefined) return make(key, words, voice)
      kept.delete(key)
      kept.set(key, known)
      return known.said
    },
  }
}
