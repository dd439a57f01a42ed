/** Samples a second of telephone audio (ITU-T G.711). */
export const SAMPLE_RATE = 8000

/**
 * Where tones of machines are looked for: from the lowest tones of telephone networks (400-450 Hz, ITU-T E.180) to the
 * answer tone of data and fax (2100 Hz, ITU-T V.25). The tone that warns of a recording is 1400 Hz (E.180); for the
 * beep of voicemail there is no standard.
 */
const LOWEST_HZ = 400
const HIGHEST_HZ = 2100
/** Steps in which it is looked for, and how much a tone between two steps still shows of itself. */
const COARSE_HZ = 40
const COARSE_SHARE = 0.4
const FINE_HZ = 5

/** The one frequency that holds most of a sound. */
export interface Peak {
  hz: number
  /** Of all energy in the sound: 1 for a pure tone, some 0.02 for noise. */
  share: number
}

/**
 * Finds the strongest frequency in some 40 ms of sound, coarsely in its second half first; what shows no tone there is
 * not looked at any closer.
 */
export function strongestTone(samples: Int16Array): Peak {
  const half = samples.subarray(samples.length / 2)
  const coarse = strongest(half, LOWEST_HZ, HIGHEST_HZ, COARSE_HZ)
  if (coarse.share < COARSE_SHARE) return coarse
  return strongest(samples, coarse.hz - COARSE_HZ / 2, coarse.hz + COARSE_HZ / 2, FINE_HZ)
}

/** Sum of squares. */
export function energyOf(samples: Int16Array): number {
  let sum = 0
  for (let n = 0; n < samples.length; n++) sum += samples[n]! ** 2
  return sum
}

function strongest(samples: Int16Array, from: number, to: number, step: number): Peak {
  const whole = (samples.length * energyOf(samples)) / 2
  let best: Peak = { hz: from, share: 0 }
  for (let hz = from; hz <= to && whole > 0; hz += step) {
    const share = powerAt(samples, hz) / whole
    if (share > best.share) best = { hz, share }
  }
  return best
}

/** Power at one frequency: G. Goertzel, "An algorithm for the evaluation of finite trigonometric series", 1958. */
function powerAt(samples: Int16Array, hz: number): number {
  const turn = 2 * Math.cos((2 * Math.PI * hz) / SAMPLE_RATE)
  let [last, before] = [0, 0]
  for (let n = 0; n < samples.length; n++) {
    const now = samples[n]! + turn * last - before
    before = last
    last = now
  }
  return last * last + before * before - turn * last * before
}
