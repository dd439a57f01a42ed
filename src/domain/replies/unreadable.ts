import { REPLY_MEANINGS } from './reply-meanings.ts'
import type { Reading } from './reading.ts'

/** So many are shown; all are kept. */
const SHOWN = 60
const MARK = /^\[A message that could not be read: [^\]]*\] ?/

/**
 * What a person is shown of a message that was no readable text: that it was none, its octets, and whatever could be
 * made out.
 * @param octets as hex
 * @param text what could be made out; it may be nothing
 */
export function asUnreadable(octets: string, text: string): string {
  const all = octets.match(/../g) ?? []
  const more = all.length > SHOWN ? ` … (${all.length} in all)` : ''
  return `[A message that could not be read: bytes ${all.slice(0, SHOWN).join(' ')}${more}] ${text}`.trimEnd()
}

/** What could be made out, as `asUnreadable` was given it. */
export function madeOut(shown: string): string {
  return shown.replace(MARK, '')
}

/** What a message that could not be read may mean: a refusal and an alarm hold, all else a person must find out. */
export function ofDamaged(reading: Reading): Reading {
  const { meaning, also = [] } = reading
  const holds = [meaning, ...also].some((each) => REPLY_MEANINGS[each].neverHidden)
  return holds ? reading : { meaning: 'unclear', confidence: 0, words: [] }
}
