import type { Detail, TextKind } from '../texts/kinds.ts'
import { MESSAGE_KINDS } from '../texts/message-kinds.ts'
import type { Pressed } from './pressed.ts'

/** Each thing a key can be for, by the name of the phrase that says so. */
export const KEY_PHRASES = ['confirm', 'move', 'again', 'stop'] as const
export const PERIOD_PHRASES = ['started', 'today', 'yesterday', 'earlier', 'notYet'] as const
export type KeyPhrase = (typeof KEY_PHRASES)[number]
export type PeriodPhrase = (typeof PERIOD_PHRASES)[number]

/** One key: which phrase says it, and what it does. */
export interface Key {
  digit: string
  phrase: KeyPhrase | PeriodPhrase
  does: Pressed | 'again' | 'started'
}

const CONFIRM: Key = { digit: '1', phrase: 'confirm', does: { meaning: 'confirm' } }
const NOT_YET: Key = { digit: '1', phrase: 'notYet', does: { meaning: 'not-started' } }
const STARTED: Key = { digit: '2', phrase: 'started', does: 'started' }
const MOVE: Key = { digit: '3', phrase: 'move', does: { meaning: 'cannot-come' } }
/** The same in every step. */
export const AGAIN: Key = { digit: '4', phrase: 'again', does: 'again' }
export const STOP: Key = { digit: '9', phrase: 'stop', does: { meaning: 'stop' } }

/** When it started: asked only after key 2. */
export const WHEN_KEYS: readonly Key[] = [
  { digit: '1', phrase: 'today', does: { meaning: 'period-started', daysAgo: 0 } },
  { digit: '2', phrase: 'yesterday', does: { meaning: 'period-started', daysAgo: 1 } },
  { digit: '3', phrase: 'earlier', does: { meaning: 'period-started' } },
  AGAIN,
]

/**
 * The keys after a message of this kind, in the order they are said. 4 (again) and 9 (no more calls) mean the same
 * everywhere. After a discreet message no key speaks of a period.
 *
 * @param periods false where cycles play no part.
 */
export function keysAfter(kind: TextKind, detail: Detail, periods: boolean): Key[] {
  const { afterStop, answers } = MESSAGE_KINDS[kind]
  // After a farewell there is nothing left to ask for.
  if (afterStop === 'last') return [AGAIN]
  const asks = periods && detail === 'full'
  switch (answers) {
    case 'period':
      return [...(asks ? [NOT_YET, STARTED] : []), MOVE, AGAIN, STOP]
    case 'visit':
      return [CONFIRM, ...(asks ? [STARTED] : []), MOVE, AGAIN, STOP]
    case 'numbers':
    case 'nothing':
      return [AGAIN, STOP]
  }
}
