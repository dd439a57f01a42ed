import { createHash, randomBytes } from 'node:crypto'

/** 256 random bits, as text that fits a cookie or a header. */
export function newToken(): string {
  return randomBytes(32).toString('base64url')
}

/** What is kept of a token. It is random enough that a fast hash cannot be turned back. */
export function hashToken(token: string): string {
  return createHash('sha256').update(token).digest('base64url')
}

/** Letters that cannot be taken for one another when read from paper. */
const LETTERS = 'ABCDEFGHJKMNPQRSTVWXYZ23456789'
const GROUPS = 5
const GROUP = 5

/** A one-time code a person can type: five groups of five letters, about 122 random bits. */
export function newCode(): string {
  const letters: string[] = []
  while (letters.length < GROUPS * GROUP) {
    const [byte] = randomBytes(1)
    // Bytes beyond the last whole multiple would make the first letters likelier.
    if (byte! < 256 - (256 % LETTERS.length)) letters.push(LETTERS[byte! % LETTERS.length]!)
  }
  return Array.from({ length: GROUPS }, (_, index) => letters.slice(index * GROUP, (index + 1) * GROUP).join('')).join(
    '-',
  )
}

/** As typed: small letters, spaces or no dashes do not matter. */
export function hashCode(typed: string): string {
  return hashToken(typed.toUpperCase().replaceAll(/[^A-Z0-9]/g, ''))
}
