import type { NewId } from '../flows/ports/deps.ts'

const ALPHABET = '0123456789abcdefghjkmnpqrstvwxyz'

function base32(value: number, length: number): string {
  let text = ''
  for (let rest = value, i = 0; i < length; i++, rest = Math.floor(rest / 32)) text = ALPHABET[rest % 32] + text
  return text
}

const POOL = 4_096

/**
 * Random bytes from a pool that is filled a few thousand at a time: asking for ten costs as much as asking for all of
 * them.
 */
export function pooled(random: (bytes: number) => Uint8Array): (bytes: number) => Uint8Array {
  let pool: Uint8Array = new Uint8Array(0)
  return (bytes) => {
    if (pool.length < bytes) pool = Uint8Array.from(random(Math.max(POOL, bytes)))
    const taken = pool.subarray(0, bytes)
    pool = pool.subarray(bytes)
    return taken
  }
}

/** Numbers from 0 up to 1, like `Math.random`, from random bytes. */
export function fractions(random: (bytes: number) => Uint8Array): () => number {
  return () => new DataView(random(4).slice().buffer).getUint32(0) / 2 ** 32
}

/**
 * Ids that sort by time: prefix, nine characters of milliseconds, ten of randomness (50 bits).
 * @param random bytes source, replaced in simulations so that they can be replayed
 */
export function idMaker(clock: { now(): Date }, random: (bytes: number) => Uint8Array): NewId {
  return (prefix) => {
    const tail = [...random(10)].map((byte) => ALPHABET[byte % 32]).join('')
    return `${prefix}_${base32(clock.now().getTime(), 9)}${tail}`
  }
}
