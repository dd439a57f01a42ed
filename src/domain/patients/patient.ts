import type { Channel, Detail } from '../messages/texts/kinds.ts'
import type { CalendarDate, CycleHistory } from '../preparation/cycle/history.ts'
import type { HandsDoubt } from './changed-hands.ts'
import type { Reach } from './reach.ts'
import type { Receiver } from './receiver.ts'

/** What was told to one clinic about somebody: another clinic that knows the same person has a record of its own. */
export interface Patient {
  id: string
  clinicId: string
  name: string
  /** E.164. */
  phone: string
  /** The record was altered in the database: nothing of it can be read, and nobody is written to. */
  isUnreadable?: boolean
  /** Second identifiers: they tell people of one name, or at one telephone, apart. */
  birthDate?: CalendarDate
  /** In the clinic's own records. */
  ownNumber?: string
  language: string
  channel: Channel
  detail: Detail
  cycle: CycleHistory
  /** IANA zone, where the patient lives in another than the visit's. */
  zone?: string
  /** Somebody wrote that the patient has died: nothing is sent until a person has looked. */
  reportedDead?: boolean
  /** How the patient can be reached; both ways where nothing is known. */
  reach?: Reach
  /** Where the patient asked to be written to by e-mail. */
  email?: string | null
  /** Who reads the messages in the patient's stead. */
  receiver?: Receiver | null
  /** ISO instant since when it is this number, where there was another before: nobody could be heard there earlier. */
  numberSince?: string
  /** The number may have changed hands: consent of before does not count. */
  handsDoubt?: HandsDoubt | null
  /** ISO instant at which somebody at the desk took back that the number is another person's. */
  wrongPersonLifted?: string | null
}

/** Consent for one channel: who gave it, who wrote it down, when, in which words, and until when it holds. */
export interface Consent {
  channel: Channel
  recordedBy: string
  recordedAt: Date
  wording: string
  /** The last day on which it holds, where the patient lives; null = it has no end. */
  until?: CalendarDate | null
  /** Who agreed: whoever reads the messages. */
  givenBy?: 'patient' | 'receiver'
}
