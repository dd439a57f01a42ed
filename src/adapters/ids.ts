import type { NewId } from '../flows/ports.ts'

const ALPHABET = '0123456789abcdefghjkmnpqrstvwxyz'

function base32(value: number, length: number): string {
  let text = ''
  for (let rest = value, i = 0; i < length; i++, rest = Math.floor(rest / 32)) text = ALPHABET[rest % 32] + text
  return text
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
