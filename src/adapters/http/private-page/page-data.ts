import type { AvoidRule } from '../../../domain/preparation/protocol.ts'
import type { Language } from '../../../domain/messages/texts/library.ts'
import type { PageTexts } from '../../templates/load-page.ts'

/** Everything the page of one booking shows. It never learns the patient's name. */
export interface PatientPage {
  /** `emergency`: what to dial in an emergency there; null = not set. */
  clinic: { name: string; phone: string; emergency: string | null; address?: string | null; directions?: string | null }
  /** The patient has said so already. */
  confirmed: boolean
  /** An e-mail about the visit waits for somebody to say that it was read. */
  unread: boolean
  /** The patient agreed to e-mail. */
  byMail: boolean
  visit: Date
  zone: string
  /** From the protocol. */
  avoid: readonly AvoidRule[]
  fine: readonly string[]
  /** Cycles play a part: ask about a period. */
  periods: boolean
  /** The first question: the last period (LMP unknown), or whether one has started. */
  ask: 'last-period' | 'period'
  /** Openings put to the patient and not yet answered, in the order of their numbers. */
  choices: readonly { slotId: string; at: Date }[]
  /** Now, and the calendar date in the patient's zone: what lies behind, and the last date that can be answered. */
  now: Date
  today: string
  language: Language
  texts: PageTexts
  /** Languages to switch to. */
  offered: readonly { code: string; name: string; locale: string }[]
  /** Path of this page, e.g. `/v/abc.def`; forms post to it, the calendar file is at `…/visit.ics`. */
  path: string
  /**
   * What came of the answer just given: the words of the reply, or an empty string for plain thanks; null = none given.
   */
  said: string | null
  /** Why the answer just given was not taken: no date, a time that is on offer no more, or too many in a day. */
  problem: 'date' | 'choice' | 'full' | null
}
