import { describe, expect, it } from 'vitest'
import {
  FRAME_MS,
  FRAME_SAMPLES,
  hear,
  NOTHING_HEARD,
  type Hearing,
} from '../../../src/domain/messages/voice/hearing.ts'
import { SAMPLE_RATE, strongestTone } from '../../../src/domain/messages/voice/tone.ts'
import { machineToned, talkedOn, whatNow } from '../../../src/domain/messages/voice/who-answered.ts'

type Sound = (sample: number) => number

const sine =
  (hz: number, loud = 4_000): Sound =>
  (n) =>
    loud * Math.sin((2 * Math.PI * hz * n) / SAMPLE_RATE)
/** A voice of many harmonics that opens and closes four times a second. */
const voice: Sound = (n) => {
  const open = Math.max(0, Math.sin((2 * Math.PI * 4 * n) / SAMPLE_RATE))
  return open * [140, 280, 420, 560, 700, 840, 980].reduce((sum, hz) => sum + sine(hz, 1_500)(n), 0)
}
const silence: Sound = () => 0
const both =
  (a: Sound, b: Sound): Sound =>
  (n) =>
    a(n) + b(n)

/** What is heard of sounds one after the other, each for so many milliseconds. */
function after(...sounds: [Sound, ms: number][]): Hearing {
  let [heard, at] = [NOTHING_HEARD, 0]
  for (const [sound, ms] of sounds)
    for (let end = at + ms / FRAME_MS; at < end; at++)
      heard = hear(
        heard,
        Int16Array.from({ length: FRAME_SAMPLES }, (_, n) => sound(at * FRAME_SAMPLES + n)),
      )
  return heard
}

const GREETING: [Sound, number] = [voice, 4_000]

describe('a tone', () => {
  it('is found at its frequency, with all the energy', () => {
    for (const hz of [400, 425, 612, 1000, 1400, 2100]) {
      const { hz: found, share } = strongestTone(Int16Array.from({ length: 320 }, (_, n) => sine(hz)(n)))
      expect(Math.abs(found - hz)).toBeLessThanOrEqual(5)
      expect(share).toBeGreaterThan(0.9)
    }
  })

  it('is none in silence, in two tones of a key (1209 and 697 Hz, ITU-T Q.23), or in a voice', () => {
    for (const sound of [silence, both(sine(1209), sine(697)), voice])
      expect(strongestTone(Int16Array.from({ length: 320 }, (_, n) => sound(n + 500))).share).toBeLessThan(0.8)
  })

  it('is a machine’s after a greeting, from an eighth of a second on', () => {
    expect(machineToned(after(GREETING, [silence, 500], [sine(1000), 160], [silence, 200]))).toBe(true)
    expect(machineToned(after(GREETING, [silence, 500], [sine(1000), 80], [silence, 200]))).toBe(false)
    expect(machineToned(after(GREETING, [silence, 500], [sine(1000), 160]))).toBe(false)
  })

  it('is none that is too high, that is a key, or that slides', () => {
    const slides: Sound = (n) => 4_000 * Math.sin((2 * Math.PI * (500 + 0.05 * n) * n) / SAMPLE_RATE)
    for (const sound of [sine(3000), both(sine(1209), sine(697)), slides])
      expect(machineToned(after(GREETING, [silence, 500], [sound, 400], [silence, 200]))).toBe(false)
  })

  it('is a sound of the house after one word, and a machine’s where no word was said', () => {
    expect(machineToned(after([voice, 600], [silence, 500], [sine(1000), 300], [silence, 200]))).toBe(false)
    expect(machineToned(after([silence, 500], [sine(1000), 300], [silence, 200]))).toBe(true)
  })
})

// Thresholds of our own: these check the rule, not the world.
describe('who answered', () => {
  it('is spoken to a moment after what was said, or when nothing is', () => {
    expect(whatNow(after([voice, 600], [silence, 1_200]))).toBeUndefined()
    expect(whatNow(after([voice, 600], [silence, 1_700]))).toBe('speak')
    expect(whatNow(after([silence, 2_900]))).toBeUndefined()
    expect(whatNow(after([silence, 3_000]))).toBe('speak')
  })

  it('is not kept in silence for longer than eight seconds, in a talk without end', () => {
    expect(whatNow(after([voice, 7_900]))).toBeUndefined()
    expect(whatNow(after([voice, 8_000]))).toBe('speak')
  })

  it('is spoken to as soon in steady noise as in silence', () => {
    let state = 1
    const hiss: Sound = () => ((state = (state * 16_807) % 2_147_483_647) / 2_147_483_647 - 0.5) * 4_000
    expect(whatNow(after([hiss, 3_000]))).toBe('speak')
    expect(talkedOn(after([hiss, 6_000]))).toBe(false)
  })

  it('is suspected of being a machine when it talks on', () => {
    expect(talkedOn(after([voice, 2_000], [silence, 2_000]))).toBe(false)
    expect(talkedOn(after(GREETING))).toBe(true)
  })

  it('is left word after the tone', () => {
    expect(whatNow(after(GREETING, [silence, 500], [sine(1000), 300], [silence, 200]))).toBe('leave-word')
  })
})
