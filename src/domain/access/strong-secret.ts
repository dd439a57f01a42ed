/** Random bytes of this length are never so alike: fewer than one key in 10^12 would be refused. */
const LEAST_DISTINCT_BYTES = 16
const LEAST_DISTINCT_STEPS = 8

/** Whether these may be 32 random bytes: no zeros, no repetition, no counting up. */
export function looksRandom(bytes: Uint8Array): boolean {
  const steps = new Set([...bytes.slice(1)].map((byte, index) => (byte - bytes[index]! + 256) % 256))
  return bytes.length >= 32 && new Set(bytes).size >= LEAST_DISTINCT_BYTES && steps.size >= LEAST_DISTINCT_STEPS
}

const LEAST_CHARACTERS = 32
const LEAST_DISTINCT_CHARACTERS = 10

/** Whether a key of a program may have been drawn by lot: long, of many characters, and no piece repeated. */
export function looksDrawn(text: string): boolean {
  const repeated = /^(.+?)\1+$/s.test(text)
  return text.length >= LEAST_CHARACTERS && new Set(text).size >= LEAST_DISTINCT_CHARACTERS && !repeated
}
