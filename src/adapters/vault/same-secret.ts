import { createHash, timingSafeEqual } from 'node:crypto'

const digest = (text: string) => createHash('sha256').update(text).digest()

/** Compares secrets in constant time, whatever their lengths. */
export function sameSecret(a: string, b: string): boolean {
  return timingSafeEqual(digest(a), digest(b))
}
