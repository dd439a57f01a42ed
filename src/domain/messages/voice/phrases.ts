import type { KeyPhrase, PeriodPhrase } from './menu.ts'

/**
 * What a call in one language says around its message: ICU messages over `key` and `clinic`. Approved or not as a
 * whole.
 */
export interface CallPhrases {
  /** One sentence a key, heard by anybody. */
  keys: Record<KeyPhrase, string>
  /** Said only after a full message. */
  period: Record<PeriodPhrase | 'when', string>
  says: { noted: string; person: string; stopped: string; wrongNumber: string; notAKey: string; goodbye: string }
  digest: string
  readonly state: 'approved' | 'draft'
}
