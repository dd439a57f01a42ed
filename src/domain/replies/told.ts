import type { DayRun } from './dates.ts'
import type { Run } from './matching.ts'
import type { Meaning } from './reading.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'

/** One meaning with the words that carry it. */
export interface Told {
  meaning: Meaning
  run: Run
  confidence: number
  day?: DayRun | undefined
  choice?: number
  /** It came from a pattern that fills its clause. */
  isWhole?: boolean
  /** Alarming, and no emergency by itself. */
  isForToday?: boolean
  /** It holds only when nothing else is said. */
  isDoubtful?: boolean
}

/**
 * Sorts first the meaning that gets the automatic answer when a text has several: first what must never be overlooked,
 * then what changes the visit, then what only informs.
 */
export function byPrecedence(a: Meaning, b: Meaning): number {
  return REPLY_MEANINGS[a].precedence - REPLY_MEANINGS[b].precedence
}
