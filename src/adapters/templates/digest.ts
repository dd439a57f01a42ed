import { createHash } from 'node:crypto'

/** Twelve hex digits that change with the words: an edited text falls back to draft by itself. */
export function digestOf(words: string): string {
  return createHash('sha256').update(words.trim()).digest('hex').slice(0, 12)
}
