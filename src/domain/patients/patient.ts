import type { Channel, Detail } from '../messages/texts/kinds.ts'
import type { CycleHistory } from '../preparation/cycle/history.ts'

/** What was told to one clinic about somebody: another clinic that knows the same person has a record of its own. */
export interface Patient {
  id: string
  clinicId: string
  name: string
  /** E.164. */
  phone: string
  language: string
  channel: Channel
  detail: Detail
  cycle: CycleHistory
  /** Somebody wrote that the patient has died: nothing is sent until a person has looked. */
  reportedDead?: boolean
}

/** Consent for one channel: who wrote it down, when, and in which words it was asked. */
export interface Consent {
  channel: Channel
  recordedBy: string
  recordedAt: Date
  wording: string
}
