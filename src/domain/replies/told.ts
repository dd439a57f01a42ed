import type { DayRun } from './dates.ts'
import type { Run } from './matching.ts'
import type { Meaning } from './reading.ts'

/** One meaning with the words that carry it. */
export interface Told {
  meaning: Meaning
  run: Run
  confidence: number
  day?: DayRun | undefined
  choice?: number
  /** It came from a pattern that fills its clause. */
  isWhole?: boolean
  /** It holds only when nothing else is said. */
  isDoubtful?: boolean
}

/**
 * Which meaning gets the automatic answer when a text has several: first what must never be overlooked, then what
 * changes the visit, then what only informs.
 */
export const PRECEDENCE: readonly Meaning[] = [
  'died',
  'stop',
  'urgent',
  'wrong-person',
  'period-started',
  'prep-lapse',
  'cannot-come',
  'choice',
  'not-started',
  'bleeding-ended',
  'still-bleeding',
  'prep-question',
  'rejoin',
  'help',
  'confirm',
  'thanks',
]
