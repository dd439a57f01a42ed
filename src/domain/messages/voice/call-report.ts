import type { KeyAct } from './call-script.ts'
import type { Pressed } from './pressed.ts'

/** What a call tells of itself, in one word; and what that says of its message. */
export const CALL_REPORTS = {
  /** An answer that nobody gives who has not taken the message in. */
  'key-1': { state: 'delivered', code: 'answered' },
  /** The message was said to its end. */
  heard: { state: 'delivered', code: 'heard' },
  /** Another answer, or none that shows what was heard: it does not stand for the message. */
  'other-key': { state: 'undelivered', code: 'cut-short' },
  'wrong-number': { state: 'undelivered', code: 'wrong-person' },
  'hang-up': { state: 'undelivered', code: 'hung-up' },
  'no-input': { state: 'undelivered', code: 'no-key' },
  machine: { state: 'undelivered', code: 'voicemail' },
} as const

export type CallReport = keyof typeof CALL_REPORTS

export function isCallReport(word: string): word is CallReport {
  return Object.hasOwn(CALL_REPORTS, word)
}

/**
 * What a key that answers says about the message.
 *
 * @param step where it was pressed; what was given in answer to a key stands for another message.
 */
export function reportOf(step: string, { answer, told }: Extract<KeyAct, { answer: Pressed }>): CallReport {
  if (answer.meaning === 'wrong-person') return 'wrong-number'
  return told && step !== 'answer' ? 'key-1' : 'other-key'
}
